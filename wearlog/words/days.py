"""Days in words: short for pages, in full for texts that may be read on any day."""

from __future__ import annotations

from datetime import date, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.people.dates import written

NEAR = timedelta(days=180)


def day_words(day: date, today: date | None) -> str:
    """`Sat 14 Mar`, with the year if it is half a year or more from `today` (or without one): for pages,
    which are read on the day they are made."""
    near = today is not None and abs(day - today) < NEAR
    return written(day, "D j M" if near else "D j M Y")


def day_in_full(day: date) -> str:
    """`14 March 2026`: for a mail and a calendar, which are read on any day."""
    return written(day, "j F Y")


def distance(day: date, today: date) -> str:
    """`in 10 days`, `tomorrow`, `4 months ago`."""
    days = (day - today).days
    if days == 0:
        return _("today")
    if days == 1:
        return _("tomorrow")
    if days == -1:
        return _("yesterday")
    size = abs(days)
    if size < 60:
        words = ngettext("%(n)s day", "%(n)s days", size) % {"n": size}
    elif size < 700:
        months = round(size / 30.4)
        words = ngettext("%(n)s month", "%(n)s months", months) % {"n": months}
    else:
        years = round(size / 365.25)
        words = ngettext("%(n)s year", "%(n)s years", years) % {"n": years}
    return (_("in %(time)s") if days > 0 else _("%(time)s ago")) % {"time": words}
