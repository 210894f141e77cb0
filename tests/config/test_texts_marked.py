"""What people read passes through gettext, in a form that its gatherer finds."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.utils import translation

from wearlog.people.models import User
from wearlog.people.refusals import Doubt, NotAllowed, Refused
from wearlog.people.roles import require

ROOT = Path(__file__).resolve().parents[2] / "wearlog"
MARKS = {
    "_",
    "gettext",
    "gettext_lazy",
    "gettext_noop",
    "ngettext",
    "ngettext_lazy",
    "pgettext",
    "pgettext_lazy",
}
WORDS = re.compile(r"[A-Za-z]{2,} [A-Za-z]|[a-z] \{\}|\} [a-z]")


def subclasses(base: type) -> Iterator[str]:
    yield base.__name__
    for each in base.__subclasses__():
        yield from subclasses(each)


VARIABLE = {
    "people/number_format.py": "words of units",
    "web/log/views/events.py": "a heading that is marked where it is set",
}
"""Where gettext gets what was marked elsewhere."""

REFUSALS = {*subclasses(Refused), "ValidationError", "BadCell", "BadRow", "NotReachable", Doubt.__name__}


def sources() -> list[Path]:
    """But for what the page of the look, which only developers open, is filled with."""
    return [
        path
        for path in sorted(ROOT.rglob("*.py"))
        if "migrations" not in path.parts and path.relative_to(ROOT).parts[:2] != ("web", "look")
    ]


def called(node: ast.AST) -> str:
    return ast.unparse(node.func).rpartition(".")[2] if isinstance(node, ast.Call) else ""


def plain(node: ast.AST) -> str:
    """The text of a literal, with `{}` for what an f-string fills in; empty for anything else."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(each.value if isinstance(each, ast.Constant) else "{}" for each in node.values)
    return ""


def unmarked(node: ast.AST) -> Iterator[str]:
    """English in literals below a node, but for what is handed to gettext."""
    if called(node) in MARKS:
        return
    if text := plain(node):
        if WORDS.search(text):
            yield text
        return
    for child in ast.iter_child_nodes(node):
        yield from unmarked(child)


@pytest.mark.parametrize(
    "app", sorted(path.name for path in ROOT.iterdir() if (path / "__init__.py").exists())
)
def test_what_is_refused_or_asked_is_worded_through_gettext(app: str) -> None:
    found = []
    for path in sources():
        if path.relative_to(ROOT).parts[0] != app or "commands" in path.parts:
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if called(node) in REFUSALS:
                assert isinstance(node, ast.Call)
                given = [
                    *node.args,
                    *(each.value for each in node.keywords if each.arg not in ("field", "code")),
                ]
                found += [f"{path.name}:{node.lineno} {text}" for each in given for text in unmarked(each)]
    assert found == []


def test_no_text_is_marked_where_the_gatherer_does_not_find_it() -> None:
    wrong = []
    for path in sources():
        for node in ast.walk(ast.parse(path.read_text())):
            where = f"{path.relative_to(ROOT)}:{getattr(node, 'lineno', 0)}"
            if isinstance(node, ast.JoinedStr) and any(called(each) in MARKS for each in ast.walk(node)):
                wrong.append(f"{where} within an f-string")
            if (
                called(node) in MARKS
                and isinstance(node, ast.Call)
                and isinstance(node.args[0], ast.JoinedStr)
            ):
                wrong.append(f"{where} an f-string as text")
            variable = called(node) in MARKS and not isinstance(node.args[0], ast.Constant)  # type: ignore[attr-defined]
            if variable and path.relative_to(ROOT).as_posix() not in VARIABLE:
                wrong.append(f"{where} a variable as text")
            if isinstance(node, ast.ImportFrom) and node.module == "django.utils.translation":
                names = [each for each in node.names if each.asname not in (None, "_")]
                wrong += [f"{where} {each.name} under another name" for each in names]
    assert wrong == []


def test_the_search_would_find_english() -> None:
    refused = ast.parse('Refused(f"{press} is gone. Choose another.", field="press")').body[0]
    assert list(unmarked(refused)) == ["{} is gone. Choose another."]
    worded = ast.parse('Refused(_("%(press)s is gone. Choose another.") % {"press": press})').body[0]
    assert list(unmarked(worded)) == []


def test_a_refusal_speaks_the_language_that_is_active_when_it_is_raised() -> None:
    viewer = User(username="v", role="viewer")
    with translation.override("de"), pytest.raises(NotAllowed) as caught:
        require(viewer, "log")
    assert caught.value.message.startswith("Als ")
    assert "Ask the owner" not in caught.value.message
    with pytest.raises(
        NotAllowed, match=r"As viewer you can't log runs and work\. Ask the owner of the mill"
    ):
        require(viewer, "log")
