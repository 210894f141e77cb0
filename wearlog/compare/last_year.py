"""What the plan would be if the next year went as the last: the campaigns of the last year, a year later.

A campaign is the seed of one crop on one press, without a pause of more than `PAUSE_DAYS` days between runs.
One that is planned already, even in part, is left out, so that nothing is planned twice; so is what would be
over by today.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from wearlog.history.record import Record
from wearlog.history.rows import RunColumns

PAUSE_DAYS = 14
YEAR = timedelta(days=365)


@dataclass(frozen=True)
class Campaign:
    """Days are included; `crop` is an index into the record's crops."""

    press_id: int
    crop: int
    start_on: date
    end_on: date
    seed_kg: float


def as_last_year(record: Record) -> list[Campaign]:
    """The campaigns to plan, by press and in order of time."""
    begin = record.as_of - YEAR
    found = []
    for press_id, runs in record.runs.items():
        planned = [entry for entry in record.plan if entry.press_id == press_id]
        for past in campaigns(record, press_id, runs, begin):
            ahead = Campaign(press_id, past.crop, later(past.start_on), later(past.end_on), past.seed_kg)
            taken = any(
                entry.crop == ahead.crop and entry.start_on <= ahead.end_on and ahead.start_on <= entry.end_on
                for entry in planned
            )
            if not taken and ahead.end_on > record.as_of:
                found.append(ahead)
    return sorted(found, key=lambda one: (record.presses[one.press_id].code, one.start_on, one.crop))


def campaigns(record: Record, press_id: int, runs: RunColumns, begin: date) -> Iterator[Campaign]:
    """The campaigns of a press since a day; purge runs are none."""
    since = record.start_of(begin)
    kept = np.flatnonzero((runs.start >= since) & ~runs.purge & (runs.seed_kg > 0))
    for crop in np.unique(runs.crop[kept]).tolist():
        own = kept[runs.crop[kept] == crop]
        days = [record.day_of(at) for at in runs.start[own].tolist()]
        seed = runs.seed_kg[own].tolist()
        first = 0
        for place in range(1, len(days) + 1):
            if place == len(days) or (days[place] - days[place - 1]).days > PAUSE_DAYS:
                yield Campaign(press_id, crop, days[first], days[place - 1], sum(seed[first:place]))
                first = place


def later(day: date) -> date:
    """The same day of the next year; 28 February for the 29th."""
    try:
        return day.replace(year=day.year + 1)
    except ValueError:
        return day.replace(year=day.year + 1, day=28)
