"""Days written out as each language writes them."""

from __future__ import annotations

import re
from datetime import date, datetime

from django.utils.formats import date_format
from django.utils.translation import get_language

DAY_BEFORE_MONTH = re.compile(r"\bj (?=[EFMN])")


def pattern_of(pattern: str) -> str:
    """A pattern of Django's `date` with the dot that German sets after the number of a day: `j. F Y`."""
    german = (get_language() or "").partition("-")[0] == "de"
    return DAY_BEFORE_MONTH.sub("j. ", pattern) if german else pattern


def written(value: date | datetime, pattern: str) -> str:
    """`3 March 2026` by `j F Y`, in the language that is active: `3. März 2026`."""
    return date_format(value, pattern_of(pattern))
