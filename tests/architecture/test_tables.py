"""What is known of a part kind or of an action stands in tables that are exhaustive, and nowhere else.

A table is a call of `exhaustive`, which names what is missing as soon as its module is loaded. Any other
dict, set, tuple or list of several members would go on silently without a new one.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from enum import Enum
from pathlib import Path

import pytest
from django.db.models import TextChoices

from wearlog.equipment.kinds import KINDS, Danger, Kind
from wearlog.lockout.cautions import hazards
from wearlog.people.tables import exhaustive
from wearlog.service.offered import FOR_KIND, FOR_PRESS
from wearlog.service.work import Action

ROOT = Path(__file__).resolve().parents[2]
CODE = sorted(path for path in (ROOT / "wearlog").rglob("*.py") if "migrations" not in path.parts)
CHOICES: tuple[type[TextChoices], ...] = (Kind, Action)

MAY_NAME_SOME = {
    ("wearlog/service/offered.py", "Action"): "the usual works in the order in which they are offered",
    ("wearlog/words/actions.py", "Action"): "the words of the works that `compare.repeats` follows",
    ("wearlog/compare/repeats.py", "Action"): "the works that come again on a thing, of which a page tells",
    ("wearlog/compare/replacing.py", "Action"): "the two works that are paid for after a failure",
    ("wearlog/web/drawing/charts/throughput.py", "Action"): "the works that a picture of throughput marks",
    ("wearlog/web/look/samples.py", "Kind"): "samples of a drawing, shown to whoever changes the look",
}
"""Where several members stand together for a reason that a new member does not touch."""


def named(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def members(node: ast.expr | None, choices: type[TextChoices]) -> bool:
    """Whether an expression is a member, or its code: `Kind.DIE`, `Kind.DIE.value`, `"die"`."""
    if isinstance(node, ast.Attribute) and node.attr == "value":
        node = node.value
    if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
        return node.value.id == choices.__name__ and node.attr in choices.names
    return isinstance(node, ast.Constant) and node.value in choices.values


def lists_of(tree: ast.AST, choices: type[TextChoices]) -> Iterator[int]:
    """Lines of literals that list several of the members, outside a call of `exhaustive` and the choices."""
    inside: set[ast.AST] = set()
    for node in ast.walk(tree):
        own_class = isinstance(node, ast.ClassDef) and node.name == choices.__name__
        call = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "exhaustive"
        if own_class or (call and members_of(node, choices)):
            inside.update(ast.walk(node))
    for node in ast.walk(tree):
        if node in inside:
            continue
        keys = node.keys if isinstance(node, ast.Dict) else getattr(node, "elts", None)
        if not isinstance(node, ast.Dict | ast.Set | ast.Tuple | ast.List) or not keys:
            continue
        found = [key for key in keys if members(key, choices)]
        by_code = [key for key in found if isinstance(key, ast.Constant)]
        # Codes are plain words: they count where the literal holds nothing else.
        if len(found) - len(by_code) >= 2 or (len(found) >= 2 and len(found) == len(keys)):
            yield node.lineno


def members_of(call: ast.AST, choices: type[TextChoices]) -> bool:
    first = call.args[0] if isinstance(call, ast.Call) and call.args else None
    return isinstance(first, ast.Name) and first.id == choices.__name__


@pytest.mark.parametrize("choices", CHOICES)
def test_no_list_of_kinds_or_actions_stands_outside_the_tables(choices: type[TextChoices]) -> None:
    found = [
        f"{named(path)}:{line}"
        for path in CODE
        if (named(path), choices.__name__) not in MAY_NAME_SOME
        for line in lists_of(ast.parse(path.read_text()), choices)
    ]
    assert found == []


@pytest.mark.parametrize(("file", "name"), MAY_NAME_SOME)
def test_each_exception_is_still_needed(file: str, name: str) -> None:
    choices = next(each for each in CHOICES if each.__name__ == name)
    path = next(path for path in CODE if named(path) == file)
    assert list(lists_of(ast.parse(path.read_text()), choices))


@pytest.mark.parametrize(
    "code",
    [
        "HEAVY = {Kind.SCREW, Kind.MOTOR}",
        "TOOLS = {Kind.DIE: 1, Kind.SCREW: 2}",
        "if kind in (Kind.DIE, Kind.SCREW): pass",
        "WORN = ('screw', 'die')",
        "GAUGES = {'screw': 1, 'die': 2}",
        "KNOWN = exhaustive(Action, {Kind.DIE: 1, Kind.SCREW: 2})",
    ],
)
def test_a_list_beside_the_tables_is_found(code: str) -> None:
    """The rule above must be able to fail."""
    assert list(lists_of(ast.parse(code), Kind)) == [1]


@pytest.mark.parametrize(
    "code",
    [
        "KINDS = exhaustive(Kind, {Kind.DIE: 1, Kind.SCREW: 2})",
        "if kind == Kind.DIE: pass",
        "ROWS = ('screw', 'left')",
    ],
)
def test_a_table_one_kind_and_other_words_are_left_alone(code: str) -> None:
    assert list(lists_of(ast.parse(code), Kind)) == []


def test_a_table_that_lacks_a_member_is_refused_by_name() -> None:
    with pytest.raises(LookupError, match="A table by Kind says nothing of FILTER, OTHER"):
        exhaustive(Kind, {kind: None for kind in Kind if kind not in ("filter", "other")})


def test_a_table_is_read_by_member_and_by_code_and_not_written() -> None:
    assert KINDS["die"] is KINDS[Kind.DIE]
    with pytest.raises(TypeError):
        KINDS["die"] = KINDS["screw"]  # type: ignore[index]


def test_every_action_is_offered_for_some_part_or_for_a_press() -> None:
    """No page asks for an action that is not offered, and no table says so."""
    offered = {action for actions in FOR_KIND.values() for action in actions} | set(FOR_PRESS)
    assert offered == set(Action)


def test_every_danger_of_a_part_has_its_hazard() -> None:
    dangers: type[Enum] = Danger
    assert hazards.OF_DANGER.keys() == set(dangers)


def test_the_hazards_of_each_kind_are_those_that_were_agreed() -> None:
    """Literals, so that nobody takes a hazard off a part by changing what follows from what."""
    agreed: dict[str, set[str]] = {
        "screw": {"sharp-edges", "heavy-part"},
        "die": {"sharp-edges"},
        "barrel": {"sharp-edges", "heavy-part"},
        "head": {"heavy-part"},
        "heater": set(),
        "bearing": {"belts-and-gears"},
        "gearbox": {"belts-and-gears", "heavy-part"},
        "belt": {"belts-and-gears"},
        "motor": {"belts-and-gears", "stored-charge", "heavy-part"},
        "magnet": {"sharp-edges"},
        "filter": {"filter-pressure"},
        "other": set(),
    }
    assert {kind: {hazard.key for hazard in hazards.BY_KIND[kind]} for kind in agreed} == agreed


def test_the_hazards_of_each_action_are_those_that_were_agreed() -> None:
    """Literals here too; an action that is not named adds none of its own."""
    agreed = {
        "clean": {"oily-rags"},
        "hard-face": {"hot-work"},
        "rebuild": {"hot-work"},
        "repair": {"hot-work"},
    }
    added = {action: {hazard.key for hazard in hazards.BY_ACTION[action]} for action in Action.values}
    assert {action: keys for action, keys in added.items() if keys} == agreed
