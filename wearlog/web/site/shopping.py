"""What to order, in words: for its page, and in short for the day's page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.calc import units
from wearlog.compare.shopping.lines import Reason, ShoppingList, ToOrder, Untold
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
    return f"{line.count} × {named(noun_words(line.type.kind), line.type.code)}"


def _why(line: ToOrder) -> str:
    if line.reason is Reason.SPARES:
        return _("Spares lack: to be kept are %(keep)s.") % {"keep": line.stock.keep}
    if line.reason is Reason.SEASON:
        return _("The dies at hand don't last for the planned seed.")
    names = ", ".join(need.part.code for need in line.needs)
    if line.among > len(line.needs):
        return _("To replace the first of %(among)s, probably %(names)s.") % {
            "among": line.among,
            "names": names,
        }
    return _("To replace %(names)s.") % {"names": names}


def _bar(line: ToOrder, system: str) -> str:
    if line.bar_mm is None:
        return ""
    return _("%(length)s of bar") % {"length": units.show_length(line.bar_mm, system)}


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
