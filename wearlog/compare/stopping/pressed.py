"""The runs by which wear shows in oil and in time: without purge runs and seed that was worked out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearlog.calc import policy
from wearlog.history.record import Record
from wearlog.history.rows import WORKED_OUT, Flags, Floats, Ints, RunColumns
from wearlog.history.yields import ANALYSED


@dataclass(frozen=True, eq=False)
class PressedRuns:
    """Runs that had ended by the record's day, in order; shape (n,), NaN where unknown."""

    start: Floats
    hours: Floats
    crop: Ints
    seed_kg: Floats
    oil: Floats
    """Kilograms of oil per kilogram of seed, as weighed."""
    analysed: Floats
    """The same, computed from the oil contents of seed and cake."""


def pressed(record: Record, presses: set[int]) -> dict[int, PressedRuns]:
    """The runs by press, without purge runs and runs whose seed was worked out from the usual rate."""
    given = ANALYSED.of({press_id: record.runs[press_id].id for press_id in presses & record.runs.keys()})
    made = {}
    for press_id, oil in given.items():
        runs = record.runs[press_id]
        own = np.flatnonzero(counts(runs))
        if own.size:
            made[press_id] = PressedRuns(
                start=runs.start[own],
                hours=record.run_hours(press_id)[own],
                crop=runs.crop[own],
                seed_kg=runs.seed_kg[own],
                oil=oil["oil_kg"][own] / runs.seed_kg[own],
                analysed=_analysed(oil["seed_oil_pct"][own] / 100, oil["cake_oil_pct"][own] / 100),
            )
    return made


def counts(runs: RunColumns | None) -> Flags:
    """Which of a press's runs count: all but purge runs and those whose seed was worked out."""
    if runs is None:
        return np.zeros(0, dtype=np.bool_)
    counted: Flags = ~runs.purge & (runs.seed_kg > 0) & (runs.seed_how != WORKED_OUT)
    return counted


def _analysed(seed_oil: Floats, cake_oil: Floats) -> Floats:
    """Oil per kilogram of seed from the oil contents of seed and cake, NaN where these are missing or
    impossible."""
    possible = (seed_oil > 0) & (seed_oil < 1) & (cake_oil <= seed_oil)
    found = np.full(seed_oil.size, np.nan)
    found[possible] = [
        policy.oil_per_kg(seed, cake)
        for seed, cake in zip(seed_oil[possible].tolist(), cake_oil[possible].tolist(), strict=True)
    ]
    return found
