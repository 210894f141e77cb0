"""The rules of the tests' own house."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
FILES = sorted(TESTS.rglob("*.py"))


def imported(path: Path) -> Iterator[str]:
    """The dotted names of all modules of ours that a file imports, wherever it does."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def for_pytest_alone(module: str) -> bool:
    """Whether it is a module of tests or of fixtures, by its name and place."""
    first, last = module.split(".")[0], module.split(".")[-1]
    is_file = (TESTS.parent / Path(*module.split("."))).with_suffix(".py").is_file()
    return first == "tests" and is_file and (last.startswith("test_") or last == "conftest")


def test_nothing_imports_a_module_of_tests_or_of_fixtures() -> None:
    """What several tests need is a fixture, or lies in a module of its own."""
    found = [
        f"{path.relative_to(TESTS)}: {module}"
        for path in FILES
        for module in imported(path)
        if for_pytest_alone(module)
    ]
    assert found == []


def test_such_an_import_would_be_found(tmp_path: Path) -> None:
    (tmp_path / "one.py").write_text(
        "from tests import conftest\n\ndef late() -> None:\n    from tests.runs.test_runs import runs\n"
    )
    found = [module for module in imported(tmp_path / "one.py") if for_pytest_alone(module)]
    assert set(found) == {"tests.conftest", "tests.runs.test_runs"}


def test_mills_are_made_in_one_place() -> None:
    makers = [path for path in FILES if path.stem.endswith(("_mill", "_mills", "_shop"))]
    assert len(makers) > 8
    assert {path.parent.name for path in makers if not path.stem.startswith("test_")} == {"mills"}


def test_no_three_files_side_by_side_share_the_first_word_of_their_names() -> None:
    """They are a folder."""
    first_words = Counter(
        (path.parent.relative_to(TESTS).as_posix(), path.stem.removeprefix("test_").split("_")[0])
        for path in FILES
        if path.stem != "__init__"
    )
    assert [place for place, count in first_words.items() if count > 2] == []


def test_tests_of_the_site_lie_in_the_folders_of_its_areas() -> None:
    site = TESTS.parent / "wearlog" / "web"
    areas = {path.name for path in site.iterdir() if (path / "__init__.py").exists()} - {"migrations", "look"}
    assert {path.parent.name for path in (TESTS / "web").rglob("test_*.py")} == areas
