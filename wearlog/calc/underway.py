"""A plan that is under way: what the season has kept of it so far tells how it will go on.

A mill that has pressed eight tenths of what the plan asked for by now will press about that part of what is
left: how far a season is missed persists through it. With y the logarithm of pressed to planned seed so far
(less the usual miss), a season's own factor spread by s around the usual one, and daily seed that varies by
c around its mean, n days tell y with the variance c^2 / n, and the days left are expected at exp(w * y) with

    w = s^2 / (s^2 + c^2 / n)

Units: kilograms and days (ordinals). Assumption: the factor of a season stays the same through it; it is not
made up for by its end. Lines that have not begun, and lines of which nothing is known, stay as they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from wearlog.calc.season import DailySeed, PlanLine, PlanMisses

DAILY_SPREAD_GUESS = 0.6
"""How far one day's seed is from its mean before any was seen (idle days included): our assumption."""
FURTHEST = 4.0


def lines_as_kept(
    *, as_of: int, past: DailySeed, plan: Sequence[PlanLine], misses: PlanMisses
) -> list[PlanLine]:
    """The plan with the seed of each line under way at the end of `as_of` scaled by what it kept so far."""
    return [
        _as_kept(line, as_of, past, misses) if line.start <= as_of < line.end and line.seed_kg > 0 else line
        for line in plan
    ]


def _as_kept(line: PlanLine, as_of: int, past: DailySeed, misses: PlanMisses) -> PlanLine:
    first = max(line.start, past.first)
    daily = past.kg[first - past.first : as_of + 1 - past.first, line.crop]
    days = len(daily)
    if days == 0:
        return line
    planned = misses.ratio * line.seed_kg / (line.end - line.start + 1) * days
    kept = float(np.clip(daily.sum() / planned, 1 / FURTHEST, FURTHEST))
    spread = float(daily.std() / daily.mean()) if days > 7 and daily.mean() > 0 else DAILY_SPREAD_GUESS
    own, noise = misses.spread**2, max(spread, 0.1) ** 2 / days
    weight = own / (own + noise) if own > 0 else 0.0
    return replace(line, seed_kg=line.seed_kg * float(np.exp(weight * np.log(kept))))
