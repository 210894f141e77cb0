"""When to stop a worn part: when its loss per tonne now exceeds what a tonne has cost on average so far.

The loss (oil left in the cake, slower pressing) is taken to grow evenly with what the part has pressed: s per
tonne and tonne. After A tonnes a tonne loses s A, all tonnes together have lost s A^2 / 2, and part and work
have cost C. Going on pays while s A < (C + s A^2 / 2) / A, that is while s < 2 C / A^2.

s is the trend of the loss over the part's age *within* groups (`trends_within`): runs of one press and one
harvest are compared with each other only, since harvests differ in oil by more than a worn screw costs, and
part and harvest age together. The part's age is that of its whole life, across refits. Runs of one lot or
week are alike too; they are averaged to blocks first, so that many runs of one lot count once. The trend is
the least squares line with a mean of its own for each group,

    s = sum((a - a_group) (y - y_group)) / sum((a - a_group)^2),

with Student's limits at (blocks - groups - 1) degrees of freedom, which are credible limits under a flat
density. A screw, the die before it and the barrel around it age together; `trends_within` tells them apart,
as one least squares plane over their ages (blocks - groups - parts degrees of freedom).

What fouls a press or dries a store lasts for weeks, so that blocks that follow each other are alike:
with r their correlation (not below 0), the variance is (1 + r) / (1 - r) times as great and the degrees of
freedom that many times fewer, as for an autoregression of first order. Advice is given only where the whole
range of s lies on one side of 2 C / A^2. A trend that was seen in a small part of the life says little of the
whole; `seen` tells in how much of it.

Oil per kilogram of seed is 1 - (1 - o) / (1 - r), o oil in seed, r oil in cake, both as fractions.

Costs in the mill's one currency, ages in tonnes. Without two blocks in a group, or with fewer than
`LEAST_FREEDOM` degrees of freedom, there is no trend, and no advice. Source: the average-cost rule is common
practice, no source; the within-group line is analysis of covariance (textbook).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from wearlog.calc import quantiles
from wearlog.calc.life import UNKNOWN, Limits

Floats = npt.NDArray[np.float64]
LEAST_FREEDOM: Final = 4
MOST_ALIKE: Final = 0.8
LEAST_PARTS: Final = 3
ALIKE_AGES: Final = 1e-4
"""Ages of two parts that differ by less of their variance are one and the same."""
LITTLE: Final = 0.05
"""Within so much of the lowest cost it matters little when a part is changed."""


def oil_per_kg(seed_oil: float, cake_oil: float) -> float:
    """Kilograms of oil from one kilogram of seed: 1 - (1 - o) / (1 - r), both as fractions (0.42, not 42).

    Raises ValueError for other numbers, or where the cake would hold a greater fraction than the seed."""
    if not (0 < seed_oil < 1 and 0 <= cake_oil < 1):
        raise ValueError("Oil in seed and in cake are fractions between 0 and 1, as 0.42 and 0.12.")
    if cake_oil > seed_oil:
        raise ValueError("The cake can't hold a greater part of oil than the seed: check the two figures.")
    return 1 - (1 - seed_oil) / (1 - cake_oil)


@dataclass(frozen=True)
class Trend:
    """The change of a figure per tonne of age, its standard error, and its degrees of freedom. `seen` is the
    sum of the groups' ranges of age, in tonnes."""

    slope: float
    se: float
    freedom: float
    seen: float

    def limits(self, confidence: float) -> Limits:
        reach = quantiles.student((1 + confidence) / 2, self.freedom) * self.se
        return Limits(self.slope - reach, self.slope + reach)


def trends_within(
    ages: npt.ArrayLike, figures: npt.ArrayLike, group: npt.ArrayLike, block: npt.ArrayLike
) -> list[list[Trend | None]]:
    """The trends of each of several figures, shape (figures, runs), over several ages at once, shape
    (parts, runs), each with the others held, within groups, (runs,); runs that share group and block are
    averaged. For each figure a list by age: None for all where there are too few blocks, and for an age that
    the others and the groups tell wholly. Raises ValueError for unequal lengths or numbers that are not
    finite."""
    every, given = np.asarray(ages, dtype=np.float64), np.asarray(figures, dtype=np.float64)
    groups, blocks = np.asarray(group), np.asarray(block)
    shapes = {every.shape[1:], given.shape[1:], groups.shape, blocks.shape}
    if every.ndim != 2 or given.ndim != 2 or len(shapes) > 1:
        raise ValueError("Ages, figures, groups and blocks must be lists of the same length.")
    if not (np.all(np.isfinite(every)) and np.all(np.isfinite(given))):
        raise ValueError("Ages and figures must be finite.")
    found: list[list[Trend | None]] = [[None] * len(every) for _ in given]
    if groups.size == 0:
        return found
    names, of_group = np.unique(groups, return_inverse=True)
    several, of_block = np.unique(blocks, return_inverse=True)
    pairs, place = np.unique(of_group * several.size + of_block, return_inverse=True)
    size, own = np.bincount(place), pairs // several.size
    many = np.bincount(own)

    def within(values: Floats) -> Floats:
        """Means of blocks, about the mean of their group."""
        mean = np.bincount(place, values) / size
        return np.asarray(mean - (np.bincount(own, mean) / many)[own])

    x = np.stack([within(age) for age in every])
    freedom = size.size - names.size - len(every)
    apart = [index for index in range(len(every)) if _apart(x, index)]
    if freedom < LEAST_FREEDOM or not apart:
        return found
    told = np.linalg.inv(x[apart] @ x[apart].T)
    order = np.argsort(of_group, kind="stable")
    begin = np.concatenate(([0], np.cumsum(np.bincount(of_group))[:-1]))
    sorted_ages = every[:, order]
    reach = np.maximum.reduceat(sorted_ages, begin, axis=1) - np.minimum.reduceat(sorted_ages, begin, axis=1)
    seen = reach.sum(axis=1)
    for trends, y in zip(found, given, strict=True):
        y_within = within(y)
        slopes = told @ (x[apart] @ y_within)
        left = y_within - slopes @ x[apart]
        alike = _alike(left, own)
        more = (1 + alike) / (1 - alike)
        variances = more * float(left @ left) / freedom * np.diagonal(told)
        for index, slope, variance in zip(apart, slopes.tolist(), variances.tolist(), strict=True):
            trends[index] = Trend(slope, math.sqrt(variance), freedom / more, float(seen[index]))
    return found


def _apart(x: Floats, index: int) -> bool:
    """Whether an age differs at all, and otherwise than the others before it."""
    reach = float(x[index] @ x[index])
    if reach <= 0:
        return False
    others = x[:index]
    rest = x[index] - np.linalg.lstsq(others.T, x[index], rcond=None)[0] @ others if index else x[index]
    return float(rest @ rest) > ALIKE_AGES * reach


@dataclass(frozen=True)
class Usual:
    """The trends of several parts of one type: their mean, its variance, the variance between parts, and how
    many parts."""

    mean: float
    variance: float
    between: float
    parts: int


def usual_trend(trends: Sequence[Trend]) -> Usual | None:
    """What parts of one type have in common: each trend is its part's own with its standard error, and these
    differ between parts with a variance that is found by moments (DerSimonian and Laird, "Meta-analysis in
    clinical trials", Controlled Clinical Trials 7, 1986; from memory). None below `LEAST_PARTS`."""
    known = [each for each in trends if each.se > 0]
    if len(known) < LEAST_PARTS:
        return None
    slopes, variances = np.array([each.slope for each in known]), np.array([each.se**2 for each in known])
    weights = 1 / variances
    mean = float(weights @ slopes / weights.sum())
    spread = float(weights @ (slopes - mean) ** 2)
    scale = float(weights.sum() - (weights**2).sum() / weights.sum())
    between = max(0.0, (spread - (len(known) - 1)) / scale)
    weights = 1 / (variances + between)
    return Usual(float(weights @ slopes / weights.sum()), float(1 / weights.sum()), between, len(known))


def drawn_to_usual(own: Trend | None, usual: Usual) -> Trend:
    """A part's trend with what others of its type showed: its own, drawn to the usual one the more the less
    sure it is; without one of its own, the usual one with the variance between parts (Student's with two
    degrees of freedom fewer than parts: Higgins, Thompson and Spiegelhalter, "A re-evaluation of
    random-effects meta-analysis", Journal of the Royal Statistical Society A 172, 2009; from memory)."""
    expected = usual.between + usual.variance
    if own is None or own.se <= 0:
        return own or Trend(usual.mean, math.sqrt(expected), usual.parts - 2, 0.0)
    share = expected / (expected + own.se**2)
    freedom = share * own.freedom + (1 - share) * (usual.parts - 2)
    return Trend(share * own.slope + (1 - share) * usual.mean, math.sqrt(share) * own.se, freedom, own.seen)


def _alike(left: Floats, own: npt.NDArray[np.intp]) -> float:
    """The correlation of what is left of blocks that follow each other in a group, between 0 and
    `MOST_ALIKE`; with few blocks it comes out too low by about 1 / blocks, which is added."""
    whole = float(left @ left)
    if whole <= 0:
        return 0.0
    follow = own[1:] == own[:-1]
    found = float(np.sum((left[1:] * left[:-1])[follow])) / whole
    return min(max(0.0, found + 1 / left.size), MOST_ALIKE)


@dataclass(frozen=True)
class Course:
    """What a tonne costs on average, from the part's price and work and a loss that grows evenly, and at
    which tonnes that is lowest; `little` is where it is at most `LITTLE` above. None where nothing is
    lost."""

    cost: float
    slope: float

    def average(self, tonnes: float) -> float:
        """C / A + s A / 2."""
        return self.cost / tonnes + max(self.slope, 0.0) * tonnes / 2

    @property
    def lowest(self) -> float | None:
        """The tonnes at which the average is lowest: sqrt(2 C / s)."""
        return math.sqrt(2 * self.cost / self.slope) if self.slope > 0 and self.cost > 0 else None

    @property
    def little(self) -> tuple[float, float] | None:
        """With x = A / lowest, the average is (x + 1 / x) / 2 times the lowest."""
        if self.lowest is None:
            return None
        reach = math.sqrt((1 + LITTLE) ** 2 - 1)
        return self.lowest * (1 + LITTLE - reach), self.lowest * (1 + LITTLE + reach)


@dataclass(frozen=True)
class StopAdvice:
    """`stop` is None where no advice is possible. Costs are per tonne of seed; `loss_range` holds the loss
    now with the confidence that was asked for."""

    stop: bool | None
    loss_now: float | None
    loss_range: Limits
    average_so_far: float | None
    reason: str


def stop_rule(
    *, part_and_work_cost: float, tonnes: float, loss: Trend | None, confidence: float = 0.95
) -> StopAdvice:
    """Whether a worn part costs more per tonne now than it has on average. `loss` is the trend of the loss
    per tonne in money; one that falls counts as no loss. Raises ValueError for a cost or tonnes that are
    negative or not finite."""
    if not (math.isfinite(part_and_work_cost) and math.isfinite(tonnes)):
        raise ValueError("Costs and tonnes must be finite.")
    if part_and_work_cost < 0 or tonnes < 0:
        raise ValueError("Costs and tonnes must not be negative.")
    if tonnes == 0:
        return StopAdvice(None, None, UNKNOWN, None, "no tonne has been pressed with this part yet")
    if loss is None:
        return StopAdvice(None, None, UNKNOWN, None, "too few runs to tell how the loss has grown")
    span = loss.limits(confidence)
    assert span.low is not None
    assert span.high is not None
    now = max(0.0, loss.slope) * tonnes
    average = part_and_work_cost / tonnes + now / 2
    around = Limits(max(0.0, span.low) * tonnes, max(0.0, span.high) * tonnes)
    even = 2 * part_and_work_cost / tonnes**2
    if span.low > even:
        why = "a tonne now loses more than a tonne has cost on average"
        return StopAdvice(True, now, around, average, why)
    if span.high < even:
        why = "a tonne now still loses less than a tonne has cost on average"
        return StopAdvice(False, now, around, average, why)
    return StopAdvice(None, now, around, average, "the loss may be more or less than the average cost")
