"""A task, work, a part and its kind are put into words in `wearlog/words` alone (the row of an action in
`service.work` holds its forms for it and for the sentences of `forecasts`)."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from wearlog.equipment.models import Kind
from wearlog.forecasts.items import STATES
from wearlog.service.models import Action

ROOT = Path(__file__).resolve().parents[2]
HOMES = ("wearlog/words/",)
DEFINED = ("wearlog/service/", "wearlog/equipment/")
"""Where the choices themselves stand, whose `__str__` names a record for the audit trail, in English."""

CHOICES = {"Action": set(Action.values), "Kind": set(Kind.values), "States": set(STATES)}
TRANSLATES = {"_", "gettext", "gettext_lazy", "pgettext", "pgettext_lazy", "ngettext", "ngettext_lazy"}
OWN_PATTERNS = {"%(work)s %(thing)s", "%(part)s, edge %(edge)s", "%(place)s: nothing fitted"}


def code() -> list[Path]:
    found = (path for path in (ROOT / "wearlog").rglob("*.py") if "migrations" not in path.parts)
    return sorted(path for path in found if not named(path).startswith(HOMES))


def named(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in TRANSLATES


def text_of(node: ast.expr | None) -> str:
    """The code that a key of a table names: `Action.FLIP`, `Action.FLIP.value`, `"flip"`; else empty."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.Attribute) and node.attr == "value":
        node = node.value
    if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
        for choices in (Action, Kind):
            if node.value.id == choices.__name__ and node.attr in choices.__members__:
                return str(choices[node.attr].value)
    return ""


def tables(tree: ast.AST) -> Iterator[str]:
    """Dictionaries that give texts to two or more actions, kinds or states."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Dict):
            continue
        keys = [text_of(key) for key, value in zip(node.keys, node.values, strict=True) if is_text(value)]
        for name, codes in CHOICES.items():
            if sum(key in codes for key in keys) > 1:
                yield f"line {node.lineno}: a table of texts by {name}"


def labels(tree: ast.AST) -> Iterator[str]:
    """The label of an action, which is only one of its forms."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Attribute):
            continue
        owner = ast.unparse(node.value)
        if node.attr == "label" and re.search(r"\bAction\b|\baction\b", owner):
            yield f"line {node.lineno}: {owner}.label"
        if node.attr == "get_action_display":
            yield f"line {node.lineno}: {owner}.get_action_display"


def parts(tree: ast.AST) -> Iterator[str]:
    """A part's code and edge put together by hand."""
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            ends = [
                piece.value.attr if isinstance(piece.value, ast.Attribute) else ast.unparse(piece.value)
                for piece in node.values
                if isinstance(piece, ast.FormattedValue)
            ]
            if {"code", "edge"} <= set(ends) or {"part", "edge"} <= set(ends):
                yield f"line {node.lineno}: {ast.unparse(node)}"


def patterns(tree: ast.AST) -> Iterator[str]:
    """The forms of a heading and of a part, whose home is `words`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and node.value in OWN_PATTERNS:
            yield f"line {node.lineno}: {node.value!r}"


def breaches(path: Path) -> list[str]:
    tree = ast.parse(path.read_text())
    found = [*tables(tree), *patterns(tree)]
    if not path.as_posix().startswith(tuple((ROOT / floor).as_posix() for floor in DEFINED)):
        found += [*labels(tree), *parts(tree)]
    return found


def test_tasks_and_parts_are_worded_in_one_place() -> None:
    assert {named(path): worded for path in code() if (worded := breaches(path))} == {}


def test_no_template_makes_words_of_an_action_by_itself() -> None:
    wrong = re.compile(r"action\.label|get_action_display|\{\{[^}|]*\baction\s*\|\s*capfirst")
    templates = sorted((ROOT / "wearlog").glob("**/templates/**/*.html"))
    assert len(templates) > 80
    assert [named(path) for path in templates if wrong.search(path.read_text())] == []


def test_what_never_happened_is_crossed_out_in_one_wording() -> None:
    """In what people read: not "struck out" or "void"."""
    other = re.compile(
        r"""(?:_|_lazy|translate)\(?\s*(?:"act", )?["'][^"']*\b(?:struck out|strike out|voided|void)\b""",
        re.I,
    )
    homes = [*code(), *(ROOT / "wearlog").glob("**/templates/**/*.html")]
    assert [named(path) for path in homes if other.search(path.read_text())] == []
    assert other.search('models.DateTimeField(_("Struck out"), null=True)')
    assert other.search("""pgettext_lazy("act", "void")""")


@pytest.mark.parametrize(
    "wrong",
    [
        "words = {Action.FLIP: _('Flipped'), Action.TURN: _('Turned')}",
        "words = {'flip': gettext_lazy('Flipped'), 'turn': gettext_lazy('Turned')}",
        "tools = {Kind.DIE: gettext_lazy('a drift'), Kind.SCREW: gettext_lazy('a puller')}",
        "states = {'overdue': _('Late'), 'due': _('Now')}",
        "word = Action(item.action).label",
        "word = self.action.label",
        "word = service.get_action_display()",
        "thing = f'{part.code} {edge}'",
        "thing = f'{item.part} {item.edge}'",
        "thing = _('%(part)s, edge %(edge)s') % values",
    ],
)
def test_words_made_elsewhere_are_found(wrong: str, tmp_path: Path) -> None:
    """The rule above must be able to fail."""
    (tmp_path / "elsewhere.py").write_text(f"{wrong}\n")
    assert len(breaches(tmp_path / "elsewhere.py")) == 1


def test_tables_of_other_things_are_left_alone(tmp_path: Path) -> None:
    other = "table = {Action.FLIP: (1,), Action.TURN: (2,)}\nname = row.label\n"
    (tmp_path / "elsewhere.py").write_text(other)
    assert breaches(tmp_path / "elsewhere.py") == []
