"""A line through the origin for each edge, and crops' rates by non-negative least squares.

Readings count less the further they are off (Huber weights); rates are drawn to the expected life, and the
multiplier of an edge to that of its type, as if both were normal. The error of a reading is the median of the
residuals' absolute values times 1.4826.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize

from tests.calc.rough.kinds import PartType
from tests.calc.rough.plain.path import Days, Path
from tests.calc.rough.plain.seen import Seen

TENTH = 1.2815515655446004
PLAN_SPREAD = 0.12
USUAL_SPREAD = 0.2  # of multipliers, counted as four edges
GAUGE_SD = 0.03


@dataclass(frozen=True)
class Line:
    """rates: mm per kilogram and crop. sd: of a reading, mm. spread: of multipliers."""

    budget: float
    rates: np.ndarray
    sd: float
    spread: float


def crude_rate(t: PartType, told: float | None, lives: Sequence[Seen]) -> float:
    """Wear per kilogram by what the maker says, else by the readings."""
    if told is not None:
        return t.budget / (told * t.life_kg)
    rates = [one.wear[-1] / one.kg[-1].sum() for one in lives if len(one.wear) and one.kg[-1].sum() > 0]
    return max(float(np.median(rates)), 1e-9) if rates else t.budget / t.life_kg


def learn_line(t: PartType, crude: float, lives: Sequence[Seen]) -> Line:
    crops = len(lives[0].now_kg)
    kg = np.concatenate([one.kg for one in lives])
    wear = np.concatenate([one.wear for one in lives])
    rates, weights = np.full(crops, crude), np.ones(len(wear))
    # The expected life counts as one reading of each crop, at a third of the largest seed.
    prior = max(kg.sum(axis=1).max(initial=0.0) / 3.0, 1.0) * 0.3
    for _ in range(8):
        rows = np.concatenate([kg * np.sqrt(weights)[:, None], prior * np.eye(crops)])
        right = np.concatenate([wear * np.sqrt(weights), np.full(crops, prior * crude)])
        rates = np.maximum(optimize.nnls(rows, right)[0], 0.05 * crude)
        weights = _weights(wear - kg @ rates)
    found = [(one, multiplier(one, rates)) for one in lives]
    known = [(one, got) for one, got in found if got is not None]
    off = [one.wear - got[0] * (one.kg @ rates) for one, got in known]
    sd = max(_scale(np.concatenate(off)), 0.01) if off else GAUGE_SD
    sure = [got[0] for _, got in known if sd**2 * got[1] < USUAL_SPREAD**2]
    around = sum((one - 1.0) ** 2 for one in sure) + 4.0 * USUAL_SPREAD**2
    return Line(t.budget, rates, sd, float(np.sqrt(around / (len(sure) + 4.0))))


def multiplier(one: Seen, rates: np.ndarray) -> tuple[float, float] | None:
    """The slope of a life's wear over its progress, and its variance in squared errors of a reading."""
    made = one.kg @ rates
    made, wear = made[made > 0], one.wear[made > 0]
    if not len(made):
        return None
    slope = float(np.median(wear / made))
    for _ in range(6):
        weights = _weights(wear - slope * made)
        slope = float((weights * made * wear).sum() / (weights * made**2).sum())
    return slope, 1.0 / float((weights * made**2).sum())


def days_by_line(line: Line, one: Seen, path: Path) -> Days | None:
    found = multiplier(one, line.rates)
    mean, variance = 1.0, line.spread**2
    if found is not None:
        precision = 1.0 / (found[1] * line.sd**2)
        mean = (found[0] * precision + 1.0 / variance) / (precision + 1.0 / variance)
        variance = 1.0 / (precision + 1.0 / variance)
    mean = max(mean, 0.05)
    spread, now = np.sqrt(variance) / mean, float(one.now_kg @ line.rates)
    left = [line.budget / (mean * np.exp(z * spread)) - now for z in (TENTH, 0.0, -TENTH)]
    return path.days(with_plan(left), line.rates)


def with_plan(left: Sequence[float]) -> list[float]:
    """What is left, early, middle and late, with the usual error of a plan."""
    early, mid, late = left
    missed = TENTH * PLAN_SPREAD * max(mid, 0.0)
    return [mid - float(np.hypot(mid - early, missed)), mid, mid + float(np.hypot(late - mid, missed))]


def _scale(off: np.ndarray) -> float:
    return 1.4826 * float(np.median(np.abs(off)))


def _weights(off: np.ndarray) -> np.ndarray:
    scale = max(_scale(off), 0.02) if len(off) else GAUGE_SD
    return np.asarray(1.0 / np.maximum(1.0, np.abs(off) / (2.0 * scale)))
