"""Whether a press can take what is planned: the hours that a campaign needs by the day, beside what it runs.

    hours = seed / usual pace          hours a day = sum over campaigns of that day of hours / days

The usual pace is the median kg/h of the press's own runs of the crop in the last two years, with the middle
80 % of them; the usual hours a day are the median over the days of the last year on which it ran. Medians,
since a run that was mistyped must not count (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from wearlog.history.record import Record
from wearlog.history.rows import PlanRow

PACE_DAYS, DAY_DAYS = 730, 365
FEWEST_RUNS = 3
DAY_H = 24.0
MORE_THAN_USUAL = 1.1
"""A tenth more than usual is nothing to tell."""


@dataclass(frozen=True)
class Load:
    """pace, slow, fast: kg/h, its median and the middle 80 % of runs; hours: of the campaign from its first
    day or today on. per_day: the hours that all campaigns of the press need on the fullest day of this one;
    usual_per_day: what it runs. None where the press has too few runs to tell."""

    pace: float | None
    slow: float | None
    fast: float | None
    hours: float | None
    per_day: float | None
    usual_per_day: float | None

    @property
    def impossible(self) -> bool:
        return self.per_day is not None and self.per_day > DAY_H

    @property
    def more_than_usual(self) -> bool:
        return (
            self.per_day is not None
            and self.usual_per_day is not None
            and self.per_day > MORE_THAN_USUAL * self.usual_per_day
        )


def load_of(record: Record, plan: Iterable[PlanRow], row: PlanRow) -> Load:
    """What a campaign asks of its press, beside the other campaigns of the plan there."""
    pace, slow, fast = _pace(record, row.press_id, row.crop)
    usual = _hours_a_day(record, row.press_id)
    if pace is None:
        return Load(None, None, None, None, None, usual)
    needed = [
        (one, _per_day(record, one)) for one in plan if one.press_id == row.press_id and one.seed_kg > 0
    ]
    first = max(row.start_on, record.as_of)
    days = [first + timedelta(days=number) for number in range((row.end_on - first).days + 1)]
    fullest = max(
        (_of_day(needed, day) for day in days), key=lambda each: -1.0 if each is None else each, default=None
    )
    return Load(pace, slow, fast, row.seed_kg / pace, fullest, usual)


def _of_day(needed: list[tuple[PlanRow, float | None]], day: date) -> float | None:
    of_day = [hours for one, hours in needed if one.start_on <= day <= one.end_on]
    known = [hours for hours in of_day if hours is not None]
    return sum(known) if known else None


def _per_day(record: Record, row: PlanRow) -> float | None:
    pace = _pace(record, row.press_id, row.crop)[0]
    return None if pace is None else row.seed_kg / pace / ((row.end_on - row.start_on).days + 1)


def _pace(record: Record, press: int, crop: int) -> tuple[float | None, float | None, float | None]:
    runs = record.runs.get(press)
    if runs is None:
        return None, None, None
    hours = record.run_hours(press)
    since = record.end - PACE_DAYS * 86_400.0
    rows = np.flatnonzero(runs.tell_output(hours) & (runs.crop == crop) & (runs.start >= since))
    if rows.size < FEWEST_RUNS:
        return None, None, None
    slow, pace, fast = np.quantile(runs.seed_kg[rows] / hours[rows], (0.1, 0.5, 0.9)).tolist()
    return (pace, slow, fast) if pace > 0 else (None, None, None)


def _hours_a_day(record: Record, press: int) -> float | None:
    runs = record.runs.get(press)
    if runs is None:
        return None
    own = np.flatnonzero(runs.start >= record.end - DAY_DAYS * 86_400.0)
    hours = record.press_hours(press)[own]
    days = np.array([record.day_of(at).toordinal() for at in runs.start[own].tolist()], dtype=np.int64)
    if np.unique(days).size < FEWEST_RUNS:
        return None
    _, place = np.unique(days, return_inverse=True)
    return float(np.median(np.bincount(place, weights=hours)))
