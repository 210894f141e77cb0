"""The season to which an instant belongs: a year from one season start to the next."""

from __future__ import annotations

import re
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
from django.utils.translation import gettext as _

SEASON_START = "07-01"
"""Month and day on which a season begins by default: about the first oilseed harvest of the northern
hemisphere. South of the equator 01-01 or 12-01 fits better."""


class BadSeasonStart(ValueError):
    """A text that is not a month and a day that exists in every year."""


def parse_start(text: str) -> tuple[int, int]:
    """`MM-DD` as (month, day). Raises BadSeasonStart with what to write."""
    match = re.fullmatch(r"(\d{1,2})-(\d{1,2})", text.strip())
    if match is not None:
        month, day = int(match[1]), int(match[2])
        try:
            date(2001, month, day)  # a year without 29 February
        except ValueError:
            pass
        else:
            return month, day
    raise BadSeasonStart(
        _("“%(text)s” is not a start of a season: write month and day as MM-DD, for example %(example)s.")
        % {"text": text, "example": SEASON_START}
    )


def season_years(
    seconds: npt.NDArray[np.float64], start: tuple[int, int], zone: ZoneInfo
) -> npt.NDArray[np.int64]:
    """For each instant (epoch seconds) the calendar year in which its season began, in the mill's zone."""
    if seconds.size == 0:
        return np.zeros(0, dtype=np.int64)
    first = datetime.fromtimestamp(float(seconds.min()), zone).year - 1
    last = datetime.fromtimestamp(float(seconds.max()), zone).year + 1
    years = np.arange(first, last + 1)
    begins = np.array([datetime(year, *start, tzinfo=zone).timestamp() for year in years.tolist()])
    return years[np.searchsorted(begins, seconds, side="right") - 1].astype(np.int64)


def season_span(year: int, start: tuple[int, int], zone: ZoneInfo) -> tuple[float, float]:
    """The first instant of the season that began in the year, and that of the next (epoch seconds)."""
    begins, ends = (datetime(one, *start, tzinfo=zone).timestamp() for one in (year, year + 1))
    return begins, ends


def season_name(year: int, start: tuple[int, int]) -> str:
    """`2025/26`, or `2025` where seasons are calendar years."""
    return str(year) if start == (1, 1) else f"{year}/{(year + 1) % 100:02d}"
