"""The program records what people state; it never says that a machine is safe."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
WEARLOG = ROOT / "wearlog"

CLAIM = re.compile(
    r"\b(?:is|are|was|now|be|being|made|makes?|it's|that's|rendered|considered)"
    r" (?:now |again |completely )?safe\b"
    r"|\bsafe (?:to|for|now|again|enough|state|condition)\b"
    r"|\bsafely\b|\bsafe:"
    r"|\b(?:no|without) (?:any )?(?:danger|hazard|risk)s?\b|\bharmless\b|\brisk-free\b|\bnot dangerous\b",
    re.IGNORECASE,
)

DENIED = re.compile(r"\b(?:never|nowhere|not|no) (?:\w+ ){0,8}$|n't (?:\w+ ){0,8}$", re.IGNORECASE)
"""Such a claim may be denied: "it does not say that the oil is safe", with no comma or stop in between."""


def strings_of(path: Path) -> Iterator[tuple[int, str]]:
    """Every string of a module but its docstrings: those speak to whoever reads the code."""
    tree = ast.parse(path.read_text())
    documented = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    quiet = set()
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list):
            for before, after in zip([None, *body], body, strict=False):
                lone = isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant)
                # A docstring, or the string below an assignment that documents it.
                if lone and (isinstance(node, documented) or isinstance(before, ast.Assign | ast.AnnAssign)):
                    quiet.add(after.value)  # type: ignore[union-attr]
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in quiet:
            yield node.lineno, node.value


def texts() -> Iterator[tuple[str, str]]:
    for path in sorted(WEARLOG.rglob("*.py")):
        if "migrations" not in path.parts:
            for line, text in strings_of(path):
                yield f"{path.relative_to(ROOT)}:{line}", text
    for pattern in ("*.html", "*.txt", "*.js", "*.po"):
        for path in sorted(WEARLOG.rglob(pattern)):
            for line, text in enumerate(path.read_text().splitlines(), start=1):
                yield f"{path.relative_to(ROOT)}:{line}", text
    for folder in (ROOT / "docs", ROOT / "fixtures"):
        for path in sorted([*folder.rglob("*.md"), *folder.rglob("*.csv")]):
            for line, text in enumerate(path.read_text().splitlines(), start=1):
                yield f"{path.relative_to(ROOT)}:{line}", text


def test_no_text_template_document_or_fixture_says_that_something_is_safe() -> None:
    looked_at = list(texts())
    assert len(looked_at) > 500
    found = [
        f"{place}: {claim[0]!r} in {text.strip()!r}"
        for place, text in looked_at
        for claim in CLAIM.finditer(text)
        if not DENIED.search(text[: claim.start()])
    ]
    assert found == []


@pytest.mark.parametrize(
    "sentence",
    [
        "The press is safe.",
        "It is now safe to open the head.",
        "After this the machine can be opened safely.",
        "There is no danger when the motor is off.",
        "The press is made safe by the lock.",
        "If it does not turn, it is safe to reach in.",
    ],
)
def test_the_search_finds_such_claims(sentence: str) -> None:
    claim = CLAIM.search(sentence)
    assert claim
    assert not DENIED.search(sentence[: claim.start()])


def test_a_denial_is_no_claim() -> None:
    sentence = "It says what a person stated, not that the oil is safe."
    claim = CLAIM.search(sentence)
    assert claim
    assert DENIED.search(sentence[: claim.start()])


def test_the_search_reads_strings_and_leaves_docstrings(tmp_path: Path) -> None:
    module = tmp_path / "module.py"
    module.write_text(
        '"""It never is safe."""\n\ndef f():\n    """Safe to run twice."""\n    return "safe to"\n'
    )
    assert list(strings_of(module)) == [(5, "safe to")]
