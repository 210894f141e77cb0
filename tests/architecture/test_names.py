"""One thing, one name: no public class twice on a floor, and no files grouped by how their names begin."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
HOUSE = ROOT / "wearlog"
GIVEN_BY_DJANGO = {"Command"}
"""Names that each management command has to have."""
KEEP_THEIR_ADDRESS = ("icon-192.png", "icon-512.png", "icon.svg")
"""Phones have kept these addresses with the site on their first screen."""
NOT_OURS = {"__pycache__", "migrations", "locale"}


def same_class_twice(sources: Mapping[str, str]) -> dict[str, list[str]]:
    """By floor and class: the files, under their path in the house, that both have it, at their top level."""
    found: dict[str, list[str]] = defaultdict(list)
    for path, source in sources.items():
        for node in ast.parse(source).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                found[f"{path.split('/')[0]} {node.name}"].append(path)
    return {
        name: files
        for name, files in found.items()
        if len(files) > 1 and name.split()[1] not in GIVEN_BY_DJANGO
    }


def grouped_by_name(paths: Iterable[str]) -> dict[str, list[str]]:
    """By folder and first word: three files and more side by side that begin with the same word."""
    found: dict[str, list[str]] = defaultdict(list)
    for path in sorted(paths):
        folder, _, name = path.rpartition("/")
        if not name.startswith("_") and name not in KEEP_THEIR_ADDRESS:
            found[f"{folder} {re.split('[-_.]', name)[0]}"].append(name)
    return {group: names for group, names in found.items() if len(names) > 2}


def files_of_the_house() -> list[Path]:
    return [path for path in sorted(HOUSE.rglob("*")) if path.is_file() and not NOT_OURS & set(path.parts)]


def in_house(path: Path) -> str:
    return path.relative_to(HOUSE).as_posix()


# --- the rules ---------------------------------------------------------------------------------------


def test_no_public_class_stands_twice_on_a_floor() -> None:
    code = {in_house(path): path.read_text() for path in files_of_the_house() if path.suffix == ".py"}
    assert same_class_twice(code) == {}


def test_no_three_files_side_by_side_begin_with_the_same_word() -> None:
    assert grouped_by_name(map(in_house, files_of_the_house())) == {}


def test_every_exception_is_still_there() -> None:
    assert set(KEEP_THEIR_ADDRESS) - {path.name for path in files_of_the_house()} == set()


# --- and that they can fail --------------------------------------------------------------------------


def test_two_classes_of_one_name_are_found_in_areas_of_one_floor_and_not_on_two_floors() -> None:
    line = "class Line:\n    pass\n"
    code = {
        "web/log/lines.py": line,
        "web/today/stop.py": line,
        "compare/queries.py": line,
        "web/a.py": "Line = 1",
    }
    assert same_class_twice(code) == {"web Line": ["web/log/lines.py", "web/today/stop.py"]}


@pytest.mark.parametrize(
    "names",
    [
        ("mail.html", "mail_digest.html", "mail_notice.html"),
        ("sheet.js", "sheet-lines.js", "sheet.css"),
    ],
)
def test_three_files_of_one_beginning_are_found_and_two_are_not(names: tuple[str, ...]) -> None:
    assert list(grouped_by_name(f"web/templates/{name}" for name in names).values()) == [sorted(names)]
    assert grouped_by_name(f"web/templates/{name}" for name in names[:2]) == {}
    folders = ("web/log", "web/today", "web/setup")
    assert grouped_by_name(f"{folder}/{names[0]}" for folder in folders) == {}
