"""Output per hour run by run, with the class within which runs may be compared.

A class is crop, size of the die on the press, speed band and moisture class. Runs that do not tell output per
hour (`RunColumns.tell_output`) are left out, since guessed seed does not measure it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from wearlog.history.record import Record
from wearlog.history.rows import Floats, Ints

SPEED_BAND_HZ = 5.0
MOISTURE_BAND_PCT = 1.0


@dataclass(frozen=True, eq=False)
class Paces:
    """Of runs in order of time, shape (n,) each: the rate, a number for each class, and when the run ended
    (seconds since 1970)."""

    kg_per_h: Floats
    class_of_run: Ints
    ends: Floats


def paces(
    record: Record,
    spans: Iterable[tuple[int, float, float]],
    *,
    dies: Iterable[tuple[float, float | None, float]] | None = None,
) -> Paces:
    """The runs that began on a press (its key) from one instant until another, span by span. dies: from when
    until when each die of one press sat there, and its size, for who has not read all fittings; else those of
    the record."""
    rates, ends, classes = [np.zeros(0)], [np.zeros(0)], [np.zeros((4, 0))]
    for press_id, start, end in spans:
        runs = record.runs.get(press_id)
        if runs is None:
            continue
        hours = record.run_hours(press_id)
        rows = np.flatnonzero((runs.start >= start) & (runs.start < end) & runs.tell_output(hours))
        rates.append(runs.seed_kg[rows] / hours[rows])
        ends.append(runs.end[rows])
        bands = (
            runs.crop[rows],
            _sizes(_dies(record, press_id) if dies is None else dies, runs.start[rows], record.end),
            np.nan_to_num(np.round(runs.drive_hz[rows] / SPEED_BAND_HZ), nan=-1.0),
            np.nan_to_num(np.round(runs.moisture_pct[rows] / MOISTURE_BAND_PCT), nan=-1.0),
        )
        classes.append(np.stack(bands))
    return Paces(np.concatenate(rates), numbered(np.concatenate(classes, axis=1)), np.concatenate(ends))


def numbered(classes: Floats) -> Ints:
    """A number for each distinct column, shape (4, n) to (n,)."""
    number = np.zeros(classes.shape[1], dtype=np.int64)
    for row in classes:  # each row has few values, so that whole numbers are sorted instead of columns
        values, place = np.unique(row, return_inverse=True)
        if int(number.max(initial=0)) >= MOST_NUMBERED // max(values.size, 1):
            number = np.unique(number, return_inverse=True)[1]
        number = number * values.size + place
    return np.unique(number, return_inverse=True)[1].astype(np.int64)


MOST_NUMBERED = 2**62
"""Classes are numbered below this, so that whole numbers of 64 bits hold them."""


def _dies(record: Record, press_id: int) -> Iterator[tuple[float, float | None, float]]:
    here = {position.id for position in record.positions.values() if position.press_id == press_id}
    for fitting in record.fittings:
        if fitting.position_id in here:
            type_ = record.types[record.parts[fitting.part_id].type_id]
            if type_.kind == "die" and type_.size_mm is not None:
                yield fitting.fitted, fitting.removed, type_.size_mm


def _sizes(dies: Iterable[tuple[float, float | None, float]], instants: Floats, end: float) -> Floats:
    """The size of the die on the press at each instant, which must be in order; 0 where none is known."""
    sizes = np.zeros(instants.size)
    for fitted, removed, size in dies:
        first, after = np.searchsorted(instants, (fitted, end if removed is None else removed))
        sizes[first:after] = size
    return sizes
