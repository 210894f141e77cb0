"""What the readings of one part tell of one of its edges.

Given a case of the type's rates and shape, the multiplier of the edge's life, its stray pace, what the
harvests of today do, and its present wear are jointly normal with the readings (see `wander` and `harvests`),
so that linear algebra tells them all. Where a reading is doubtful, each way of believing it or not is weighed
by how well it agrees with all the others.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from wearlog.calc.wear.learned import Known
from wearlog.calc.wear.lives import Ints
from wearlog.calc.wear.records import Floats
from wearlog.calc.wear.shape import Shapes
from wearlog.calc.wear.slips import AMONG_OTHERS, gross
from wearlog.calc.wear.state import SHIFT_SD

FAR_OFF = 1.5  # standard deviations: of a reading further off than this, both is weighed, a slip and none
MOST_DOUBTS = 3
MOST_REBUILDS, LEAST_USUAL = 5, 0.2
LEAST_SHARE = 1e-4  # ways to believe the readings that are less likely than this are left out
# Some parts are of another make of steel: this share of multipliers has a spread this many times the usual.
ODD_SHARE, ODD_SIZE = 0.01, 10.0
# A gauge, or whoever reads it, may show the size when new for ever. That is weighed where so many readings of
# a life, up to so much of it, show less than this share of the usual wear.
STUCK_CHANCE, STUCK_READINGS, STUCK_FROM, STUCK_SHARE = 0.02, 3, 0.2, 0.25
NO_WORD = 1e4  # the variance of a reading that tells nothing, in budgets squared
THETA, PACE, FIRST_HARVEST = 0, 1, 2


@dataclass(frozen=True)
class Globals:
    """G cases of what a type's edges have in common: rates (G, crops), shapes, the trend of rebuilt lives (G,
    1), and how far each is from the posterior's mean (G, globals)."""

    rates: Floats
    shapes: Shapes
    trend: Floats
    away: Floats


@dataclass(frozen=True)
class Belief:
    """One way to believe the readings of a part: the variance of each one's error (in budgets squared), the
    spread of the part's multiplier, and the logarithm of how likely this way is before the readings."""

    error: Floats
    part_spread: float
    odds: float


@dataclass(frozen=True)
class EdgeState:
    """The multiplier (THETA), the stray pace (PACE), the effects of each crop's harvest of today and, last,
    the wear (in budgets) of an edge: mean (G, S) and covariance (G, S, S) for each case of the globals, and
    the logarithm (G,) of how well they go with the readings."""

    mean: Floats
    covariance: Floats
    height: Floats


class Effects:
    """The harvests for one part, from what all other parts tell of them: the mean (G, columns) for each case
    of the globals, and the covariance (columns, columns) given it. Rates of each column include the mean."""

    def __init__(self, common: Globals, crop: Ints, mean: Floats, covariance: Floats, budget: float) -> None:
        self.common, self.mean, self.covariance, self.budget = common, mean, covariance, budget
        self.rates = common.rates[:, crop] * np.exp(mean)

    def progress(self, kg: Floats) -> Floats:
        """The progress (G, n) that seed kg (n, columns) makes."""
        return np.asarray(self.rates @ kg.T)

    def at(self, kg: Floats) -> tuple[Floats, Floats]:
        """u (G, n) when the seed kg (n, columns) has been taken, and its derivatives by the harvests (G, n,
        columns)."""
        v = self.progress(kg) / self.budget
        slope = self.common.shapes.pace(v) / self.budget
        return self.common.shapes.forward(v), slope[:, :, None] * self.rates[:, None, :] * kg


class Conditions:
    """What the readings of a type's parts tell of their edges, for cases of what all edges have in common."""

    def __init__(self, known: Known, common: Globals) -> None:
        self.post, self.rows, self.common = known.posterior, known.problem.rows, common
        self.budget = known.problem.budget
        self.readings, self.wander = self.post.readings, self.post.wander
        crops = common.rates.shape[1]
        self.told_apart = bool(self.post.harvests.crop.size)
        self.crop = self.post.harvests.crop if self.told_apart else np.arange(crops)
        self.kg = self.rows.harvest_kg if self.told_apart else self.rows.kg
        # The column of each crop's harvest of today.
        today = [int(np.flatnonzero(self.crop == crop)[-1]) for crop in range(crops)]
        self.today = np.array(today, dtype=np.int64)

    def effects(self, part: int) -> Effects:
        """The harvests as all parts but this one tell them: its own readings tell them again, with all else
        that they tell, in `states`."""
        cases, harvests = len(self.common.rates), self.post.harvests
        columns = len(self.crop)
        if not self.told_apart:
            none = np.zeros((columns, columns))
            return Effects(self.common, self.crop, np.zeros((cases, columns)), none, self.budget)
        mean = harvests.effect + self.common.away @ harvests.slope.T
        covariance = harvests.covariance
        own = np.flatnonzero(self.rows.part == part)
        factors = harvests.factors[own]
        if factors.any():
            readings = self.readings
            u, lives, moved = readings.u[own], readings.life[own], SHIFT_SD * readings.shifts[own]
            alone = self.wander.between(u, lives, u, lives) + moved @ moved.T + np.diag(self._errors(own))
            away = readings.wear[own] - u - (self.post.step + self.common.away) @ self.post.factors[own].T
            away = away + factors @ harvests.about
            with_all = covariance @ factors.T
            gain = np.linalg.solve(alone - factors @ with_all, with_all.T).T
            mean = mean - (away - mean @ factors.T) @ gain.T
            covariance = covariance + gain @ with_all.T
        return Effects(self.common, self.crop, mean, covariance, self.budget)

    def states(
        self, effects: Effects, part: int, life: int, rebuilt: int, shifts: Floats, kg: Floats
    ) -> list[tuple[EdgeState, Floats]]:
        """The states of an edge that has taken kg (columns,), by each way to believe the readings of its
        part, with the share (G,) of each."""
        own = np.flatnonzero(self.rows.part == part)
        one = _OneEdge(self, effects, own, life, rebuilt, shifts, kg)
        states = [one.state(belief) for belief in self._beliefs(own, life)]
        chance = np.array([state.height for state in states])
        chance = np.exp(chance - chance.max(axis=0))
        chance /= chance.sum(axis=0)
        return [
            (state, share) for state, share in zip(states, chance, strict=True) if share.max() > LEAST_SHARE
        ]

    def usual(self, rebuilt: Floats) -> Floats:
        """The usual multiplier after so many rebuilds (n,), shape (G, n)."""
        rise = self.common.trend * np.minimum(rebuilt, MOST_REBUILDS)
        return np.asarray(np.maximum(1.0 + rise, LEAST_USUAL))

    def _errors(self, own: Ints) -> Floats:
        plain = self.readings.plain[own] > 0
        return np.asarray(np.where(plain, self.wander.gauge_sd**2, 1.0) * self.wander.error[own])

    def _beliefs(self, own: Ints, life: int) -> Iterator[Belief]:
        wander, error = self.wander, self._errors(own)
        plain = self.readings.plain[own] > 0
        doubtful = np.flatnonzero(plain & (self.rows.life[own] == life) & (wander.loose[own] > FAR_OFF))
        doubtful = doubtful[np.argsort(-wander.loose[own][doubtful], kind="stable")][:MOST_DOUBTS]
        yield from self._stuck(own, life, error)
        if not doubtful.size:
            yield Belief(error, wander.part, 0.0)
            return
        slip = gross(wander.gauge_sd) ** 2
        for number in range(2**doubtful.size):
            slips = np.array([bool(number >> bit & 1) for bit in range(doubtful.size)])
            here = error.copy()
            here[doubtful] = np.where(slips, np.maximum(slip, error[doubtful]), wander.gauge_sd**2)
            odds = float(np.sum(np.where(slips, np.log(AMONG_OTHERS.share), np.log1p(-AMONG_OTHERS.share))))
            yield Belief(here, wander.part, odds)
            yield Belief(here, wander.part * ODD_SIZE, odds + np.log(ODD_SHARE))

    def _stuck(self, own: Ints, life: int, error: Floats) -> Iterator[Belief]:
        """The readings of this life as those of a gauge that shows the size when new whatever the wear: they
        are explained by the gauge's error alone, and tell nothing of the edge."""
        here = np.flatnonzero((self.readings.plain[own] > 0) & (self.rows.life[own] == life))
        u, wear, shifts = (
            each[own][here] for each in (self.readings.u, self.readings.wear, self.rows.shifts)
        )
        if len(here) < STUCK_READINGS or u.max() < STUCK_FROM or shifts.any():
            return
        if float(u @ wear) >= STUCK_SHARE * float(u @ u):
            return
        variance, silent = self.wander.gauge_sd**2, error.copy()
        silent[here] = NO_WORD
        # The density of the readings by the gauge alone, less that by which they would be weighed otherwise.
        alone = -0.5 * float((wear**2 / variance).sum()) - 0.5 * len(here) * np.log(variance / NO_WORD)
        yield Belief(silent, self.wander.part, float(np.log(STUCK_CHANCE) + alone))


class _OneEdge:
    """All that does not depend on how the readings are believed."""

    def __init__(
        self,
        all_: Conditions,
        effects: Effects,
        own: Ints,
        life: int,
        rebuilt: int,
        shifts: Floats,
        kg: Floats,
    ) -> None:
        self.all, self.own, self.life, self.shifts = all_, own, life, shifts
        self.lives, self.moved = all_.rows.life[own], SHIFT_SD**2 * all_.rows.shifts[own]
        then, today = all_.usual(all_.rows.rebuilt[own]), all_.usual(np.array([float(rebuilt)]))
        at, by_harvest = effects.at(all_.kg[own])
        self.now, now_by = effects.at(kg[None])
        self.at, factors, now_factors = at, by_harvest * then[:, :, None], now_by * today[:, :, None]
        self.away = all_.readings.wear[own] - at * then
        with_harvests = factors @ effects.covariance
        self.together = with_harvests @ factors.swapaxes(1, 2)
        self.with_wear = (with_harvests @ now_factors.swapaxes(1, 2))[:, :, 0]
        self.with_today = with_harvests[:, :, all_.today]
        self.harvests_now = (now_factors @ effects.covariance)[:, 0, :]
        self.harvests_wear = (self.harvests_now[:, None, :] @ now_factors.swapaxes(1, 2))[:, 0, 0]
        self.today = effects.covariance[np.ix_(all_.today, all_.today)]
        self.middle = np.concatenate(
            [today, np.zeros_like(today), effects.mean[:, all_.today], today * self.now], axis=1
        )

    def state(self, belief: Belief) -> EdgeState:
        wander, at, now, lives = self.all.wander, self.at, self.now, self.lives
        part = belief.part_spread
        together = wander.between(at, lives, at, lives, part=part) + self.together
        together += self.moved @ self.all.rows.shifts[self.own].T + np.diag(belief.error)
        with_wear = wander.between(at, lives, now, np.array([self.life]), part=part)[:, :, 0]
        with_wear += self.moved @ self.shifts + self.with_wear
        with_theta = at * (part**2 + wander.life**2 * (lives == self.life))
        with_pace = wander.noise.with_pace(at, now) * (lives == self.life)
        both = np.concatenate(
            [with_theta[:, :, None], with_pace[:, :, None], self.with_today, with_wear[:, :, None]], axis=2
        )
        solved = np.linalg.solve(together, np.concatenate([both, self.away[:, :, None]], axis=2))
        gained = both.swapaxes(1, 2) @ solved
        height = (
            belief.odds
            - 0.5 * np.linalg.slogdet(together)[1]
            - 0.5 * np.einsum("gn,gn->g", self.away, solved[:, :, -1])
        )
        return EdgeState(self.middle + gained[:, :, -1], self._alone(belief) - gained[:, :, :-1], height)

    def _alone(self, belief: Belief) -> Floats:
        """The covariance (G, S, S) without readings of the part."""
        wander, now = self.all.wander, self.now[:, 0]
        noise, spread = wander.noise, belief.part_spread**2 + wander.life**2
        size = self.middle.shape[1]
        harvests = slice(FIRST_HARVEST, size - 1)
        alone = np.zeros((len(now), size, size))
        alone[:, THETA, THETA] = spread
        alone[:, THETA, -1] = alone[:, -1, THETA] = spread * now
        alone[:, PACE, PACE] = noise.pace_variance
        alone[:, PACE, -1] = alone[:, -1, PACE] = noise.with_pace(self.now, self.now)[:, 0]
        alone[:, harvests, harvests] = self.today
        alone[:, harvests, -1] = alone[:, -1, harvests] = self.harvests_now[:, self.all.today]
        alone[:, -1, -1] = spread * now**2 + noise.between(self.now, self.now)[:, 0, 0]
        alone[:, -1, -1] += SHIFT_SD**2 * self.shifts @ self.shifts + self.harvests_wear
        return alone
