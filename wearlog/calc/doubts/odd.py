"""Runs whose throughput is far from that of the runs around them.

The deviation of a run is the logarithm of its kg/h less the median of its neighbours' (the same press and
crop, up to `AROUND` before and as many after). It is weighed by the modified z-score of Iglewicz and Hoaglin
("How to Detect and Handle Outliers", ASQC Quality Press 1993; also in the NIST/SEMATECH e-Handbook of
Statistical Methods, section 1.3.5.17): 0.6745 (x - median) / MAD, of which more than 3.5 in size is odd.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]

AROUND = 7
FEWEST = 5
"""Of fewer neighbours nothing is said."""
ODD_SCORE = 3.5
NORMAL = 0.6745  # the MAD of a normal distribution, in standard deviations
LEAST_MAD = 0.02  # weights are read off a scale: two runs hardly agree better than to 2 per cent
LEAST_STEP = math.log(1.6)
"""Less than this happens in any mill: seed is damp, a bag is forgotten."""
SLIPS = (0.001, 0.01, 0.1, 10.0, 100.0, 1_000.0)
"""What a misplaced decimal point makes of a weight, and kilograms taken for tonnes."""


def scores(values: Floats) -> Floats:
    """The modified z-scores of values, shape (n,)."""
    away = values - np.median(values)
    return np.asarray(NORMAL * away / max(float(np.median(np.abs(away))), 1e-12))


def deviations(log_pace: Floats) -> Floats:
    """How far each run's log throughput is from the median of its neighbours, shape (n,), for the runs of one
    press and crop in order of time; NaN where it has fewer than `FEWEST`."""
    n, width = log_pace.size, 2 * AROUND + 1
    out = np.full(n, np.nan)
    if n >= width:
        windows = np.lib.stride_tricks.sliding_window_view(log_pace, width)
        others = np.delete(windows, AROUND, axis=1)
        out[AROUND : n - AROUND] = log_pace[AROUND : n - AROUND] - np.median(others, axis=1)
    for own in [*range(min(AROUND, n)), *range(max(n - AROUND, min(AROUND, n)), n)]:
        first, last = max(own - AROUND, 0), min(own + AROUND + 1, n)
        others = np.delete(log_pace[first:last], own - first)
        if others.size >= FEWEST:
            out[own] = log_pace[own] - np.median(others)
    return out


def odd(log_pace: Floats) -> tuple[Flags, Floats]:
    """Which runs are odd, and the deviation of each; shape (n,) both, for the runs of one press and crop in
    order of time."""
    away = deviations(log_pace)
    told = away[~np.isnan(away)]
    if not told.size:
        return np.zeros(log_pace.size, dtype=np.bool_), away
    mad = max(float(np.median(np.abs(told - np.median(told)))), LEAST_MAD)
    score = NORMAL * np.abs(away) / mad
    found: Flags = (score > ODD_SCORE) & (np.abs(away) > LEAST_STEP)
    return found, away


def slip(deviation: float, tolerance: float = math.log(1.35)) -> float | None:
    """The factor by which a weight was mistyped, where one of `SLIPS` explains the deviation; else None."""
    near = min(SLIPS, key=lambda factor: abs(deviation - math.log(factor)))
    return near if abs(deviation - math.log(near)) <= tolerance else None
