"""Phrases that the sentences of several triggers share: days, ranges, the start of the count."""

from __future__ import annotations

from datetime import date

from django.utils.translation import gettext as _

from wearlog.calc.units import show_hours, show_length, show_mass
from wearlog.people.dates import written
from wearlog.service.work import noun_of


def day(value: date, as_of: date) -> str:
    """`3 September`, with the year where it is not that of the as-of day."""
    return written(value, "j F" if value.year == as_of.year else "j F Y")


def since(action: str, on: date | None, as_of: date, *, of_part: bool) -> str:
    """The start of the count: work if `action` is given, else the first fitting of the part or the start of
    the press."""
    if on is None:
        return _("since the beginning")
    if action:
        return _("since the last %(work)s on %(day)s") % {"work": noun_of(action), "day": day(on, as_of)}
    if of_part:
        return _("since it was first fitted on %(day)s") % {"day": day(on, as_of)}
    return _("since the press's start on %(day)s") % {"day": day(on, as_of)}


def since_new(earlier: str) -> str:
    """The start of the count of a part that had worked, so much, before this log."""
    return _("since it was new, %(earlier)s of it before this log") % {"earlier": earlier}


def work_on(action: str, on: date, as_of: date) -> str:
    """`the rebuild on 3 May`."""
    return _("the %(work)s on %(day)s") % {"work": noun_of(action), "day": day(on, as_of)}


def route(basis: str, *, begins: date, as_of: date, beyond_plan: bool) -> str:
    """What the expected future is based on: the plan, past rates, or the plan and then past rates."""
    if basis == "plan":
        if beyond_plan:
            return _("at the plan and then the pace of earlier years")
        if begins > as_of:
            return _("at the plan from %(day)s") % {"day": day(begins, as_of)}
        return _("at the plan")
    return {
        "same_weeks": _("at the pace of the same weeks in earlier years"),
        "recent_pace": _("at the recent pace"),
    }.get(basis, "")


def about(due: date, early: date | None, late: date | None, as_of: date) -> str:
    """`about 3 September (27 August to 12 September)`, without the range where it is only the day itself."""
    text = _("about %(day)s") % {"day": day(due, as_of)}
    if early is not None and late is None:
        return text + _(" (from %(early)s on)") % {"early": day(early, as_of)}
    if early is None or late is None or early == late:
        return text
    return text + _(" (%(early)s to %(late)s)") % {"early": day(early, as_of), "late": day(late, as_of)}


def mass(kg: float, units: str) -> str:
    return show_mass(kg, units)


def length(mm: float, units: str) -> str:
    return show_length(mm, units)


def hours(value: float, units: str) -> str:
    return show_hours(value, units)
