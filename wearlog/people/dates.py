"""Dates in words, as each language writes them."""

from __future__ import annotations

import re
from datetime import date, datetime

from django.utils.formats import date_format
from django.utils.translation import get_language

DAY_BEFORE_MONTH = re.compile(r"\bj (?=[EFMN])")
WEEKDAY_IN_FULL = re.compile(r"\bl (?=j)")
SHORT_MONTH = re.compile(r"\bM\b")


def pattern_of(pattern: str, value: object = None) -> str:
    """A format of Django's `date` filter, adapted to the active language.

    German puts a dot after the day and a comma after a full weekday: `l, j. F Y`. In French three letters
    can't distinguish June from July, so `M` becomes `N` (`juin`, `juil.`); and the first day of a month is
    `1er`.
    """
    language = (get_language() or "").partition("-")[0]
    if language == "de":
        return DAY_BEFORE_MONTH.sub("j. ", WEEKDAY_IN_FULL.sub("l, ", pattern))
    if language != "fr":
        return pattern
    first = isinstance(value, date) and value.day == 1
    return SHORT_MONTH.sub("N", DAY_BEFORE_MONTH.sub(r"j\\e\\r ", pattern) if first else pattern)


def written(value: date | datetime, pattern: str) -> str:
    """The date by the format in the active language: `j F Y` gives `3 March 2026` or `3. März 2026`."""
    return date_format(value, pattern_of(pattern, value))
