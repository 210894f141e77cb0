"""What presses and parts have worked, as pages show it. Derived from the record, stored nowhere."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from wearlog.calc.exposure import worked
from wearlog.compare.queries import Line, compare
from wearlog.compare.seasons import SEASON_START, parse_start, season_name, season_years
from wearlog.forecasts import versions
from wearlog.forecasts.record import Record, load
from wearlog.forecasts.rows import FittingRow

_kept: dict[str, tuple[tuple[int, date], Record]] = {}


def record_at(as_of: date) -> Record:
    """The record of the day, kept in memory until the log changes."""
    key = (versions.current(), as_of)
    kept = _kept.get("record")
    if kept is None or kept[0] != key or key[0] == 0:
        kept = _kept["record"] = (key, load(as_of))
    return kept[1]


@dataclass(frozen=True)
class Work:
    """Hours of the press and seed through the part; `crops` has the seed of each crop, most first."""

    hours_h: float
    seed_kg: float
    crops: tuple[tuple[str, float], ...]

    def __add__(self, other: Work) -> Work:
        crops = dict(self.crops)
        for crop, kg in other.crops:
            crops[crop] = crops.get(crop, 0.0) + kg
        return Work(self.hours_h + other.hours_h, self.seed_kg + other.seed_kg, in_order(crops))


NOTHING = Work(0.0, 0.0, ())


def in_order(crops: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    return tuple(sorted(((crop, kg) for crop, kg in crops.items() if kg > 0), key=lambda pair: -pair[1]))


def of_press(record: Record, press_id: int) -> Work:
    """All that the press has worked up to the record's end."""
    timeline = record.timelines.get(press_id)
    if timeline is None:
        return NOTHING
    kilograms = timeline.kilograms(0.0, record.end)[0]
    crops = dict(zip(record.crops, kilograms.tolist(), strict=True))
    return Work(float(timeline.hours(0.0, record.end)[0]), float(kilograms.sum()), in_order(crops))


def of_spans(
    record: Record, fittings: Iterable[FittingRow], *, until: float | None = None
) -> dict[int, Work]:
    """What each fitting has worked, by its primary key; up to `until` (seconds since 1970) where given."""
    rows = list(fittings)
    if not rows:
        return {}
    positions = [record.positions[row.position_id] for row in rows]
    last = record.end if until is None else min(until, record.end)
    result = worked(
        record.timelines,
        np.array([position.press_id for position in positions], dtype=np.int64),
        [position.barrel for position in positions],
        np.array([position.share for position in positions], dtype=np.float64),
        np.array([row.fitted for row in rows], dtype=np.float64),
        np.array([min(row.removed or last, last) for row in rows], dtype=np.float64),
    )
    return {
        row.id: Work(
            float(result.hours[number]),
            float(result.kilograms[number].sum()),
            in_order(dict(zip(record.crops, result.kilograms[number].tolist(), strict=True))),
        )
        for number, row in enumerate(rows)
    }


def hours_since(record: Record, press_id: int, instant: datetime) -> float:
    """Hours that the press has worked since the instant."""
    timeline = record.timelines.get(press_id)
    return 0.0 if timeline is None else float(timeline.hours(instant.timestamp(), record.end)[0])


def season_of(record: Record) -> str:
    """The name of the season that the record's day lies in."""
    start = parse_start(SEASON_START)
    return season_name(int(season_years(np.array([record.end - 1.0]), start, record.zone)[0]), start)


def season_lines(record: Record) -> dict[str, Line]:
    """This season's line of the comparison for each press that has run in it, by press code."""
    name = season_of(record)
    lines = compare(by=("press", "season"), seasons=(name,)).lines
    return {line.press: line for line in lines}
