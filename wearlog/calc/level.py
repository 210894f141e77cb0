"""How what is pressed keeps to what was expected, for example to a plan, and whether that has changed lately.

Of each spell of days i of one expectation (say, of one line of a plan) the logarithm of pressed / expected
is

    y_i = usual + change * [i is after the change, was expected before it, no rest] + own + noise

with what is usual of the press (a mill that plans too much), at most one change of pace within the
spells, which those who plan anew know of, an error `own` of the whole expectation, and noise that falls
with the number of days. When the change came, if it did, is weighed by the likelihood of all spells (all
normal, so that the sums are exact): a new pace is followed within weeks, while a single odd spell is not.

A change point with known variances: Smith, "A Bayesian approach to inference about a change-point in a
sequence of random variables", Biometrika 62, 1975 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CHANGE_SPREAD = 0.6  # of a change of pace: our assumption, no source
CHANGE_CHANCE = 0.15
"""Of a change of pace within the spells, before anything is seen: our assumption, no source."""
AT_ENDS = 1.0  # days by which a spell may be longer or shorter than it looks: a day off, a late entry
WIDEST = 1.4
RESTED = np.log(0.3)
"""A press that pressed less of what was expected rested: that is no pace, and a miss of that plan alone."""


@dataclass(frozen=True, kw_only=True)
class Level:
    """middle, spread: of the logarithm of what is pressed of what was expected. change: how much of `middle`
    is a change of pace, which came about `changed` (None where there was probably none)."""

    middle: float
    spread: float
    change: float = 0.0
    changed: float | None = None


@dataclass(frozen=True)
class Spells:
    """n spells in order of time: when each ends, its days, the logarithm of pressed / expected, which
    expectation it belongs to, and when that was said (-inf: always)."""

    end: Floats
    days: Floats
    kept: Floats
    of: NDArray[np.int64]
    said: Floats


class Levels:
    """The level for any expectation, from the spells so far.

    own_spread: standard deviation of the error of a whole expectation; day_spread: of one day's part of it.
    change_chance: of a change of pace within the spells."""

    def __init__(
        self,
        spells: Spells,
        *,
        usual: float = 0.0,
        own_spread: float,
        day_spread: float,
        change_chance: float = CHANGE_CHANCE,
    ) -> None:
        self.spells, self.usual, self.own = spells, usual, own_spread
        self.y = np.clip(spells.kept, -WIDEST, WIDEST) - usual
        count = len(self.y)
        # Candidates: no change (-inf would be a change before all), or one before each spell but the first.
        self.times = np.append(-np.inf, spells.end[:-1])
        after = (spells.end > self.times[:, None]) & (spells.said <= self.times[:, None])
        after &= spells.kept > RESTED
        self.after = np.where(np.isfinite(self.times)[:, None], after, False).astype(float)
        same = (spells.of[:, None] == spells.of).astype(float)
        fixed = own_spread**2 * same
        fixed = fixed + np.diag(day_spread**2 / spells.days + (AT_ENDS / spells.days) ** 2)
        covariance = fixed + CHANGE_SPREAD**2 * self.after[:, :, None] * self.after[:, None, :]
        if not count:
            self.chance, self.solved = np.ones(1), np.zeros((1, 0, 1))
            self.inverse = np.zeros((1, 0, 0))
            return
        self.inverse = np.linalg.inv(covariance)
        self.solved = self.inverse @ self.y[:, None]
        height = -0.5 * np.linalg.slogdet(covariance)[1] - 0.5 * (self.solved[:, :, 0] @ self.y)
        prior = np.full(len(self.times), change_chance / max(count - 1, 1))
        prior[0] = 1.0 - change_chance
        chance = prior * np.exp(height - height.max())
        self.chance = chance / chance.sum()

    def of(self, said: float = -np.inf, *, under_way: int | None = None) -> Level:
        """The level of what was `said` at a time, for the rest of expectation number `under_way`, or (None)
        for one of which nothing has been pressed."""
        counts = (np.isfinite(self.times) & (said <= self.times)).astype(float)
        change = CHANGE_SPREAD**2 * self.after * counts[:, None]
        mine = np.zeros(len(self.y)) if under_way is None else (self.spells.of == under_way).astype(float)
        both = change + self.own**2 * mine
        middle = (both[:, None, :] @ self.solved)[:, 0, 0]
        moved = (change[:, None, :] @ self.solved)[:, 0, 0]
        variance = CHANGE_SPREAD**2 * counts + self.own**2
        variance = variance - np.einsum("tn,tnm,tm->t", both, self.inverse, both)
        mean = float(self.chance @ middle)
        spread = float(self.chance @ (np.maximum(variance, 0.0) + (middle - mean) ** 2))
        when = int(np.argmax(self.chance))
        return Level(
            middle=self.usual + mean,
            spread=float(np.sqrt(spread)),
            change=float(self.chance @ moved),
            changed=float(self.times[when]) if when else None,
        )
