"""Ages of parts: the hours and the seed that they had worked by an instant, from the mill's own record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wearlog.calc.exposure import Floats, exposures
from wearlog.history.record import Record


@dataclass(frozen=True, eq=False)
class Ages:
    """Shape (n,) each: hours of the presses, and kilograms through the parts, all crops together."""

    hours_h: Floats
    seed_kg: Floats


def ages_of(record: Record, wanted: Sequence[tuple[int, float]]) -> Ages:
    """The age of each (part, instant), over all the places where the part worked until then. One vectorised
    call. A part that was never fitted has age 0; work before this log (`Record.earlier`) is not included."""
    target, press, barrel, share, start, end = [], [], [], [], [], []
    for row, (part_id, instant) in enumerate(wanted):
        for fitting in record.fittings_of.get(part_id, ()):
            last = min(instant, record.end if fitting.removed is None else fitting.removed)
            if fitting.fitted >= last:
                continue
            position = record.positions[fitting.position_id]
            target.append(row)
            press.append(position.press_id)
            barrel.append(position.barrel)
            share.append(position.share)
            start.append(fitting.fitted)
            end.append(last)
    hours, seed = np.zeros(len(wanted)), np.zeros(len(wanted))
    if target:
        done = exposures(
            record.timelines_of(press),
            np.array(press, dtype=np.int64),
            barrel,
            np.array(share, dtype=np.float64),
            np.array(start, dtype=np.float64),
            np.array(end, dtype=np.float64),
        )
        np.add.at(hours, np.array(target), done.hours)
        np.add.at(seed, np.array(target), done.kilograms.sum(axis=1))
    return Ages(hours, seed)


def seed_along(record: Record, part_id: int, instants: Floats) -> Floats:
    """Kilograms through one part by each of many instants, shape (n,), as `ages_of` counts them; one call for
    each of its fittings."""
    seed = np.zeros(instants.size)
    for fitting in record.fittings_of.get(part_id, ()):
        last = np.minimum(instants, record.end if fitting.removed is None else fitting.removed)
        own = np.flatnonzero(last > fitting.fitted)
        if own.size:
            position = record.positions[fitting.position_id]
            done = exposures(
                record.timelines_of([position.press_id]),
                np.full(own.size, position.press_id, dtype=np.int64),
                [position.barrel] * own.size,
                np.full(own.size, position.share),
                np.full(own.size, fitting.fitted),
                last[own],
            )
            seed[own] += done.kilograms.sum(axis=1)
    return seed
