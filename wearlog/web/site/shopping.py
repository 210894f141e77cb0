"""What to order, in words: for its page, and in short for the day's page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.calc import units
from wearlog.compare.shopping.lines import Reason, ShoppingList, ToOrder, Untold
from wearlog.compare.shopping.needs import Need
from wearlog.history.rows import TypeRow
from wearlog.people.words import day
from wearlog.words.kinds import named, noun_words


@dataclass(frozen=True)
class OrderedLine:
    """One line of the list. `cost` is empty where it is not known or not for the reader."""

    found: ToOrder
    what: str
    why: str
    bar: str
    cost: str
    late: bool


def ordered_lines(
    found: ShoppingList, today: date, system: str, currency: str | None = None
) -> list[OrderedLine]:
    """currency: None leaves the prices out."""
    return [
        OrderedLine(
            line,
            what_words(line),
            _why(line),
            _bar(line, system),
            "" if currency is None or line.cost is None else _money(line.cost, currency, system),
            line.is_late(today),
        )
        for line in found.lines
    ]


def what_words(line: ToOrder) -> str:
    """`2 × screw SC72`."""
    return _pieces(line.count, line.type)


def _pieces(count: int, type_: TypeRow) -> str:
    return f"{count} × {named(noun_words(type_.kind), type_.code)}"


def now_words(found: ShoppingList, today: date) -> str:
    """What is to be ordered by today, all lines of a type together, or else what comes next."""
    pieces: Counter[TypeRow] = Counter()
    for line in found.lines:
        if line.by is not None and line.by <= today:
            pieces[line.type] += line.count
    if pieces:
        names = ", ".join(_pieces(count, type_) for type_, count in pieces.items())
        return _("To be ordered today: %(names)s.") % {"names": names}
    following = next((line for line in found.lines if line.by is not None), None)
    if following is None or following.by is None:
        return ""
    said = {"names": what_words(following), "day": day(following.by)}
    return _("Nothing has to be ordered today. Next: %(names)s, by %(day)s.") % said


def _why(line: ToOrder) -> str:
    if line.reason is Reason.SPARES:
        return _("Spares lack: to be kept are %(keep)s.") % {"keep": line.stock.keep}
    if line.reason is Reason.SEASON:
        return _("The dies at hand don't last for the planned seed.")
    names = _seats(line.needs)
    if line.among > len(line.needs):
        return _("The first of %(among)s wear out, probably %(names)s.") % {
            "among": line.among,
            "names": names,
        }
    return _("Worn by then: %(names)s.") % {"names": names}


def _seats(needs: Sequence[Need]) -> str:
    """`S-03 (Yard press), T-03 (Twin, left screw)`: each part with its press, and with its place where the
    press has two barrels."""
    names = []
    for need in needs:
        seat = [need.press.label] + ([need.position.name] if need.position.barrel else [])
        names.append(f"{need.part.code} ({', '.join(seat)})")
    return ", ".join(names)


def _bar(line: ToOrder, system: str) -> str:
    if line.bar_mm is None:
        return ""
    terms = line.stock.terms
    lengths = {
        "length": units.show_length(line.bar_mm, system),
        "count": str(line.count),
        "piece": units.show_length(terms.bar_mm or 0.0, system),
        "cut": units.show_length(terms.kerf_mm, system),
    }
    return _("%(length)s of bar: %(count)s × (%(piece)s + saw cut %(cut)s)") % lengths


def _money(amount: float, currency: str, system: str) -> str:
    return f"{units.show_number(amount, 2, system)} {currency}".strip()


def total_words(found: ShoppingList, currency: str, system: str) -> str:
    """The cost of the whole list, with what has no price; empty for an empty list."""
    known = [line.cost for line in found.lines if line.cost is not None]
    lacking = len(found.lines) - len(known)
    words = []
    if known:
        words.append(_("All together: %(cost)s.") % {"cost": _money(sum(known), currency, system)})
    if lacking:
        words.append(
            ngettext("%(lines)d line has no price.", "%(lines)d lines have no price.", lacking)
            % {"lines": lacking}
        )
    return " ".join(words)


def untold_words(found: ShoppingList) -> list[str]:
    """Of which types nothing is said, by why."""
    reasons = {
        Untold.NO_LIFE: _("Neither a limit nor an expected life tells how long these last: %(names)s."),
        Untold.NO_DAY: _("Neither plan nor pace gives a day yet for: %(names)s."),
    }
    words = []
    for why, sentence in reasons.items():
        names = [type_.code for type_, reason in found.untold if reason is why]
        if names:
            words.append(sentence % {"names": ", ".join(names)})
    return words
