"""`Any` and `type: ignore` stand only where a library forces them: there mypy sees nothing."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from pathlib import Path

from tests.architecture.forced_types import FORCED

ROOT = Path(__file__).resolve().parents[2]
CODE = [path for path in sorted((ROOT / "wearlog").rglob("*.py")) if "migrations" not in path.parts]
LOOK_FOR = re.compile(r"\bAny\b|(type|mypy):\s*ignore")
IGNORES = re.compile(r"#\s*(type|mypy):\s*ignore")


def unseen(source: str) -> int:
    """How often the source has the word `Any` or a comment that silences mypy; prose isn't counted."""
    tokens = tokenize.generate_tokens(io.StringIO(source).readline) if LOOK_FOR.search(source) else ()
    return sum(
        (token.type == tokenize.NAME and token.string == "Any")
        or (token.type == tokenize.COMMENT and IGNORES.search(token.string) is not None)
        for token in tokens
    )


def imported(source: str) -> Iterator[str]:
    """The libraries from which the source imports."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and not node.level:
            yield str(node.module).split(".")[0]
        elif isinstance(node, ast.Import):
            yield from (one.name.split(".")[0] for one in node.names)


def test_any_and_type_ignore_stand_where_a_library_forces_them_alone() -> None:
    found = {path.relative_to(ROOT).as_posix(): words for path in CODE if (words := unseen(path.read_text()))}
    listed = {module: words for module, (_, words) in FORCED.items()}
    more = {module: words for module, words in found.items() if words > listed.get(module, 0)}
    assert more == {}, "give these a type; if a library makes that impossible, list them in forced_types.py"
    fewer = {module: found.get(module, 0) for module in listed if found.get(module, 0) < listed[module]}
    assert fewer == {}, "these have fewer than forced_types.py lists: lower the numbers there"


def test_each_module_that_may_imports_the_library_that_forces_it() -> None:
    strange = {
        module: library
        for module, (library, _) in FORCED.items()
        if library not in imported((ROOT / module).read_text())
    }
    assert strange == {}


def test_the_words_are_found_where_they_stand() -> None:
    """The rule above must be able to fail."""
    assert unseen("import typing\n\n\ndef read(data: typing.Any) -> dict[str, typing.Any]: ...\n") == 2
    assert unseen("from typing import Any\n\nrows: list[Any] = []\n") == 2
    assert unseen("rows = found()  # type: ignore[no-untyped-call]\n# mypy: ignore-errors\n") == 2
    assert unseen('"""Any other row."""\n\n# Any row at all, of whatever type: ignore the rest\n') == 0
