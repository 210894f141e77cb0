"""A step in the throughput that no entry explains: perhaps a die was changed and nobody wrote it down.

Within a stretch of runs of one press between two entries, log kg/h is a line over the runs (wear makes it
fall slowly) with normal errors. For each place k the size of a step there is found by least squares beside
the line, whose slope is held near 0 (ridge regression; Hoerl and Kennard, Technometrics 12, 1970; from
memory): in a short stretch a free line could pass for the step. The t statistic is largest at the likeliest
place. How large it gets by chance depends on the number of places tried: the bound is that of Bonferroni's
inequality over these places, at `CHANCE` (Quandt's test with a correction that is on the safe side; Quandt,
"Tests of the hypothesis that a linear regression system obeys two separate regimes", JASA 55, 1960; from
memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wearlog.calc.doubts.odd import Floats
from wearlog.calc.quantiles import student

EDGE = 5
"""So many runs at least lie on either side of a step."""
CHANCE = 0.01
SLOW = 600.0
"""The ridge of the slope, in runs squared: as if it was known to be 0 to 1 / sqrt(600) of a run's scatter
(0.16 % a run at 4 %). In simulations it finds more steps than a free slope, and doubts less for nothing."""
LEAST = math.log(1.08)
"""A smaller step is nothing to ask a person about."""


@dataclass(frozen=True)
class Step:
    """A step before the run with the index `before`: its `size` in log kg/h, and its t statistic."""

    before: int
    size: float
    t: float


def steps(log_pace: Floats) -> Floats:
    """Size and t statistic of a step before each run beside a line, shape (2, n); NaN near the ends. The t
    statistic has n - 3 degrees of freedom, as without the ridge."""
    n = log_pace.size
    out = np.full((2, n), np.nan)
    places = np.arange(EDGE, n - EDGE + 1)
    if n < 2 * EDGE + 1 or not places.size:
        return out
    time: Floats = np.arange(n, dtype=np.float64) - (n - 1) / 2
    square = float(time @ time) + SLOW
    level: Floats = log_pace - float(log_pace.mean())
    rest: Floats = level - time * (float(time @ level) / square)
    # The jump that is 0 before the place and 1 from there on, less its own line.
    after = n - places
    length = after - after**2 / n - _from_each(time)[places] ** 2 / square
    size = _from_each(rest)[places] / length
    left = np.maximum(float(rest @ level) - size**2 * length, 1e-12)
    out[0, places] = size
    out[1, places] = size * np.sqrt(length * (n - 3) / left)
    return out


def _from_each(values: Floats) -> Floats:
    """The sum of the values from each index on, shape (n,)."""
    return np.asarray(np.cumsum(values[::-1])[::-1])


def step(log_pace: Floats) -> Step | None:
    """The likeliest step, or None where chance may have made it or it is small. log_pace: (n,) in order of
    time, without odd runs."""
    size, t = steps(log_pace)
    tried = np.flatnonzero(~np.isnan(t))
    if not tried.size:
        return None
    best = int(tried[np.argmax(np.abs(t[tried]))])
    bound = student(1.0 - CHANCE / (2 * tried.size), log_pace.size - 3)
    if abs(t[best]) < bound or abs(size[best]) < LEAST:
        return None
    return Step(best, float(size[best]), float(t[best]))
