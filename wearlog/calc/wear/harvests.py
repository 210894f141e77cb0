"""What a harvest does alike to all edges that pressed it.

    wear follows progress = sum over harvests of k_crop * exp(e_harvest) * seed

e is how much more (or less) than usual a crop's harvest of one year wears, from a normal distribution with
mean 0 and the standard deviation `spread`, which is learned from all part types together (zero allowed). The
rates, the shapes, the trends of rebuilt lives and all e are found by one step of generalised least squares
from what the fit of single types gave; in turn with it the spreads within each type are learned from what
remains. The spread is the mean over a grid, weighed by the likelihood of a linear model with normal effects,
in which everything else is integrated out (Laird and Ware, "Random-effects models for longitudinal data",
Biometrics 38, 1982; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wearlog.calc.wear.lives import Ints
from wearlog.calc.wear.records import Floats
from wearlog.calc.wear.state import inverse
from wearlog.calc.wear.wander import Explained, Readings, Wander, least_squares, stray

SPREADS = np.array([0.001, 0.03, 0.06, 0.1, 0.15, 0.2, 0.3, 0.45, 0.6])
SPREAD_SCALE = 0.15  # of the exponential prior of the spread
ROUNDS = 2
ALIKE = 0.05
"""Where harvests differ by less than this, nothing is learned anew with what was found of them."""
LARGEST_STEP = 0.7
LARGEST = 1.5  # effect: a harvest that wears more than four times as much as usual is no harvest


@dataclass(frozen=True)
class Harvests:
    """What is known of H harvests, as one type sees it: their mean `effect` (H,) where the type's globals are
    at their means, its `slope` (H, G) by these, and the covariance (H, H) given them. `factors` (N, H) tell
    how the wear of each row (in budgets) follows them, about the effects `about` (H,). crop: the crop of each
    (H,)."""

    crop: Ints
    spread: float
    effect: Floats
    slope: Floats
    covariance: Floats
    factors: Floats
    about: Floats


@dataclass(frozen=True)
class Begun:
    """One type as its own fit left it. `prior` (G, G) is the precision of the globals without readings and
    `pull` (G,) that fit's gradient by the readings alone; `factors` (N, G) tell how the wear of each row
    follows the globals, `harvests` (N, H) how it follows the harvests. `spreads` is where `stray` begins."""

    readings: Readings
    prior: Floats
    pull: Floats
    factors: Floats
    harvests: Floats
    spreads: dict[str, float]


@dataclass(frozen=True)
class Settled:
    """What one type's globals move by, their covariance, how wear strays, and the harvests."""

    step: Floats
    covariance: Floats
    wander: Wander
    harvests: Harvests


def settle(
    types: Sequence[Begun], crop: Ints, about: Floats, before: Sequence[Settled] = ()
) -> list[Settled]:
    """All types together; `crop` (H,) is the crop of each harvest, and `about` (H,) the effects with which
    the types were fitted. before: what was found about other effects, from which the search goes on."""
    explained: list[Explained | None] = [None] * len(types)
    wanders = [each.wander for each in before]
    begin: list[Wander | None] = [None] * len(types)
    rounds = ROUNDS if crop.size and not before else 1
    for turn in range(rounds + 1):
        if turn or not before:
            wanders = [
                stray(each.readings, **each.spreads, explained=known, before=found)
                for each, known, found in zip(types, explained, begin, strict=True)
            ]
        begin = list(wanders)
        together = _Together(types, wanders, crop, about)
        settled = [together.of_type(index) for index in range(len(types))]
        differ = together.spread > ALIKE
        if turn == rounds or not (
            differ or (turn == 0 and any(each.readings.rebuilt.any() for each in types))
        ):
            break
        # What is learned of rates, rebuilt lives and harvests is no spread between lives.
        explained = [together.explained(index) for index in range(len(types))]
    return settled


class _Together:
    """The normal posterior of all types' globals and of the harvests, from given spreads."""

    def __init__(self, types: Sequence[Begun], wanders: Sequence[Wander], crop: Ints, about: Floats) -> None:
        self.types, self.wanders, self.crop, self.about = types, wanders, crop, about
        harvests = crop.size
        told, pulled = np.zeros((harvests, harvests)), np.zeros(harvests)
        # By type: the covariance of the globals where the harvests are known, that times their gradient, and
        # times their information together with the harvests.
        self.alone: list[tuple[Floats, Floats, Floats, Floats]] = []
        for each, wander in zip(types, wanders, strict=True):
            size = len(each.pull)
            factors = np.concatenate([each.factors, each.harvests], axis=1)
            information, gradient = least_squares(each.readings, wander, factors)
            gradient = gradient + information[:, size:] @ about
            known = inverse(each.prior + information[:size, :size])
            mixed = information[:size, size:]
            middle, follow = known @ (gradient[:size] - each.pull), known @ mixed
            told += information[size:, size:] - mixed.T @ follow
            pulled += gradient[size:] - mixed.T @ middle
            self.alone.append((known, middle, follow, mixed))
        self.spread = _spread(told, pulled) if harvests else 0.0
        self.precision = told + np.eye(harvests) / max(self.spread, SPREADS[0]) ** 2
        self.covariance = inverse(self.precision) if harvests else told
        self.effect = np.clip(self.covariance @ pulled, -LARGEST, LARGEST)

    def _step(self, index: int) -> Floats:
        _, middle, follow, _ = self.alone[index]
        return np.clip(middle - follow @ self.effect, -LARGEST_STEP, LARGEST_STEP)

    def of_type(self, index: int) -> Settled:
        known, _, follow, mixed = self.alone[index]
        # Given the type's own globals, the harvests are known better than without.
        given = inverse(self.precision + mixed.T @ follow) if self.crop.size else self.covariance
        return Settled(
            self._step(index),
            known + follow @ self.covariance @ follow.T,
            self.wanders[index],
            Harvests(
                crop=self.crop,
                spread=self.spread,
                effect=self.effect,
                slope=-given @ mixed.T,
                covariance=given,
                factors=self.types[index].harvests,
                about=self.about,
            ),
        )

    def explained(self, index: int) -> Explained:
        each, (known, _, follow, _) = self.types[index], self.alone[index]
        own = known + follow @ self.covariance @ follow.T
        mixed = -follow @ self.covariance
        return Explained(
            middle=each.factors @ self._step(index) + each.harvests @ (self.effect - self.about),
            factors=np.concatenate([each.factors, each.harvests], axis=1),
            covariance=np.block([[own, mixed], [mixed.T, self.covariance]]),
        )


def _spread(told: Floats, pulled: Floats) -> float:
    """The mean of the spread's posterior over the grid, from the information (H, H) on the harvests and its
    gradient (H,)."""
    values, vectors = np.linalg.eigh(told)
    values, along = np.maximum(values, 0.0)[:, None], (vectors.T @ pulled)[:, None] ** 2
    variance = SPREADS**2
    heights = 0.5 * (along * variance / (1.0 + values * variance) - np.log1p(values * variance)).sum(axis=0)
    heights -= SPREADS / SPREAD_SCALE
    chance = np.exp(heights - heights.max()) * np.gradient(SPREADS)
    return float(chance @ SPREADS / chance.sum())
