"""The seed that edges took until they reached their limit, from the gauges of lives that came near it.

In each life the gauges, in order of the seed s_i with the wear w_i, tell when the wear w = limit was reached:
between the two gauges about it, on the straight line through them (the first from new, w = 0 at s = 0). A
life whose last gauge was taken at `NEAR` of the limit or later is carried on to it in proportion,
s * limit / w. A life that was not gauged so late, but whose edge was retired as worn, ended about at its
limit. Other lives tell nothing: to count what they took so far as a life would make lives look short (or, as
censored lives, as long as chance allows).

Common practice, no source: a wear part is measured, and its life is what it took until the limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearlog.calc.wear.lives import PLAIN, WORN_OUT, Ints, Rows, rows_of
from wearlog.calc.wear.records import Floats, TypeRecord

NEAR = 0.75
"""A gauge from so much of the limit on is carried on to it."""
ALMOST_ALL = 0.9
"""A life is one crop's if so much of its seed was of that crop."""
MIXED = -1


@dataclass(frozen=True, eq=False)
class SeedToLimit:
    """One entry for each life that reached its limit, or nearly: its part, how often the edge had been
    rebuilt, the seed in kg, and the crop that nearly all of it was of (`MIXED`: of none)."""

    part: Ints
    rebuilt: Ints
    seed_kg: Floats
    crop: Ints


def seed_to_limit(record: TypeRecord) -> SeedToLimit | None:
    """Of all edges of a type; None where it has no new dimension or no limit."""
    if record.new is None or record.limit is None or record.new == record.limit:
        return None
    return of_rows(rows_of(record)[0], abs(record.limit - record.new))


def of_rows(rows: Rows, budget: float) -> SeedToLimit:
    """budget: the wear from new to the limit, above 0."""
    found: list[tuple[int, int, float, int]] = []
    several = rows.lives + 1
    for life in np.unique(rows.part * several + rows.life):
        own = np.flatnonzero(rows.part * several + rows.life == life)
        plain = own[rows.kind[own] == PLAIN]
        plain = plain[np.argsort(rows.kg[plain].sum(axis=1), kind="stable")]
        seed, wear = rows.kg[plain].sum(axis=1), rows.wear[plain]
        at = _reached(seed, wear, budget)
        worn = own[rows.kind[own] == WORN_OUT]
        if at is None and worn.size:
            at = float(rows.kg[worn[-1]].sum())
        if at is None or at <= 0:
            continue
        by_crop = rows.kg[own[np.argmax(rows.kg[own].sum(axis=1))]]
        crop = int(np.argmax(by_crop))
        if by_crop[crop] < ALMOST_ALL * by_crop.sum():
            crop = MIXED
        found.append((int(rows.part[own[0]]), int(rows.rebuilt[own[0]]), at, crop))
    columns = list(zip(*found, strict=True)) if found else [(), (), (), ()]
    return SeedToLimit(
        np.array(columns[0], dtype=np.int64),
        np.array(columns[1], dtype=np.int64),
        np.array(columns[2], dtype=np.float64),
        np.array(columns[3], dtype=np.int64),
    )


def _reached(seed: Floats, wear: Floats, budget: float) -> float | None:
    """The seed at which the wear was the whole budget; None where no gauge was taken near it."""
    if not seed.size:
        return None
    beyond = np.flatnonzero(wear >= budget)
    if not beyond.size:
        last_seed, last = float(seed[-1]), float(wear[-1])
        return last_seed * budget / last if last >= NEAR * budget else None
    first = int(beyond[0])
    before_seed, before = (float(seed[first - 1]), float(wear[first - 1])) if first else (0.0, 0.0)
    share = (budget - before) / (float(wear[first]) - before)
    return before_seed + share * (float(seed[first]) - before_seed)
