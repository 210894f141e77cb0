"""The hours and the seed that presses and parts worked. Derived from the record of the log, never stored."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from wearlog.calc.exposure import exposures
from wearlog.history.record import Record
from wearlog.history.rows import FittingRow


@dataclass(frozen=True)
class Work:
    """Hours of the press and kilograms of seed; `crops` has the seed of each crop, largest first."""

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
    """All work of the press up to the end of the record, without unlogged hours."""
    timeline = record.timelines.get(press_id)
    if timeline is None:
        return NOTHING
    kilograms = timeline.kilograms(0.0, record.end)[0]
    crops = dict(zip(record.crops, kilograms.tolist(), strict=True))
    return Work(float(record.press_hours(press_id).sum()), float(kilograms.sum()), in_order(crops))


def of_spans(
    record: Record, fittings: Iterable[FittingRow], *, since: float = 0.0, until: float | None = None
) -> dict[int, Work]:
    """The work of each fitting, by primary key; from `since` and up to `until` (seconds since 1970) where
    given."""
    rows = list(fittings)
    if not rows:
        return {}
    positions = [record.positions[row.position_id] for row in rows]
    last = record.end if until is None else min(until, record.end)
    result = exposures(
        record.timelines_of(position.press_id for position in positions),
        np.array([position.press_id for position in positions], dtype=np.int64),
        [position.barrel for position in positions],
        np.array([position.share for position in positions], dtype=np.float64),
        np.array([max(row.fitted, since) for row in rows], dtype=np.float64),
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


def of_presses(record: Record, press_ids: Collection[int]) -> dict[int, Work]:
    """All work of each of these presses; their logs are read together."""
    record.timelines_of(press_ids)
    return {press_id: of_press(record, press_id) for press_id in press_ids}
