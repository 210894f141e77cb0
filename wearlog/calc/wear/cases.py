"""Fixed cases of what is not known about an edge: how far it is worn, and what it can still take.

Rates and shape of the type have 64 cases, one for each row of the result. Given one of them, the multiplier
of an edge's life and its present wear are jointly normal (see `wander`), so the readings of its part tell
both by linear algebra. Where a reading is doubtful, each way of believing it or not is weighed by how well it
agrees with all the others. The wear to come wanders, too: with d still to go, of which the variance is v, the
drift theta and the noise q, the limit is reached after the further progress u that solves

    theta * u + sqrt(v + q * u) * z = d          z standard normal

(for v = 0 the distribution of Birnbaum and Saunders, "A new family of life distributions", Journal of Applied
Probability 6, 1969, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import special

from wearlog.calc.wear import shape
from wearlog.calc.wear.fits import Quantiles, Scenarios
from wearlog.calc.wear.learned import Known
from wearlog.calc.wear.lives import Ints
from wearlog.calc.wear.nodes import nodes
from wearlog.calc.wear.records import Floats
from wearlog.calc.wear.state import SHIFT_SD, WIDEST
from wearlog.calc.wear.wander import SLIP_SHARE, between, gross

RATE_CASES, OWN_CASES, FINE_CASES = 64, 8, 64
LEAST_LAPSE = 0.05
FAR_OFF = 1.5  # standard deviations: of a reading further off than this, both is weighed, a slip and none
MOST_DOUBTS = 3
MOST_REBUILDS, LEAST_USUAL = 5, 0.2
LEAST_THETA, LEAST_NOISE = 0.05, 1e-6
LEAST_SHARE = 1e-4  # ways to believe the readings that are less likely than this are left out
# Some parts are of another make of steel: this share of multipliers has a spread this many times the usual.
ODD_SHARE, ODD_SIZE = 0.01, 10.0


@dataclass(frozen=True)
class Belief:
    """One way to believe the readings of a part: the variance of each one's error (in budgets squared), the
    spread of the part's multiplier, and the logarithm of how likely this way is before the readings."""

    error: Floats
    part_spread: float
    odds: float


@dataclass(frozen=True)
class EdgeState:
    """Multiplier and wear (in budgets) of an edge: mean (G, 2) and covariance (G, 2, 2) for each case of the
    rates, and the logarithm (G,) of how well they go with the readings."""

    mean: Floats
    covariance: Floats
    height: Floats


class Cases:
    """Fixed cases of the type's rates and shape, one per row, and for each row the cases of one edge."""

    def __init__(self, known: Known) -> None:
        problem, post = known.problem, known.posterior
        crops = len(post.log_rates)
        away = nodes(len(post.covariance), RATE_CASES) @ _cholesky(post.covariance).T
        away = np.clip(away, -WIDEST, WIDEST)
        self.rates = np.exp(post.log_rates + away[:, :crops])
        self.shapes = shape.Shapes.of(post.h + away[:, crops:-1])
        self.trend = post.trend + away[:, -1:]
        self.rows, self.budget, self.spreads = problem.rows, problem.budget, post.spreads
        self.readings, self.wander = post.readings, post.wander
        # A mill that retires its edges once they are worn would have retired this one if it were worn. How
        # strongly that counts grows with the number of edges so retired, and is never certain.
        self.lapse = max(2.0 / (known.retired_worn + 2.0), LEAST_LAPSE)
        self.many = nodes(3, FINE_CASES)
        # Which quantiles of a row's cases are kept. They differ from row to row, so that all rows together
        # fill the range; with the same ones in each, the 10 % point of an edge's own uncertainty would be its
        # outermost case.
        begin = (np.arange(1.0, RATE_CASES // 2 + 1.0) * np.sqrt(2.0)) % 1.0
        begin = np.concatenate([begin, 1.0 - begin])
        self.kept = (np.arange(OWN_CASES) + begin[:, None]) / OWN_CASES

    def of_edge(
        self, part: int, life: int, shifts: Floats, kg: Floats, *, rebuilt: int, at_work: bool
    ) -> Scenarios:
        """Scenarios of an edge in the life of that number, after so many rebuilds, which has taken `kg`
        (crops,) since it began, with those shifts (K,) so far. A part of number -1 has no readings. at_work:
        cases in which the edge should have been retired weigh less."""
        progress = self.rates @ kg
        now = self._at(kg)
        cases = [
            (*self._outcomes(state, now), np.repeat(share[:, None], FINE_CASES, axis=1))
            for state, share in self._states(part, life, rebuilt, shifts, now)
        ]
        further, wear, theta, weights = (
            np.concatenate([case[which] for case in cases], axis=1) for which in range(4)
        )
        at_limit = self.shapes.backward(now + further)
        needed = at_limit * self.budget - progress[:, None]
        if at_work and self.lapse < 1.0:
            weights = weights * self._not_retired(wear)
        return self._reduced(needed, wear * self.budget, theta, weights)

    def wear_at(self, part: int, life: int, shifts: Floats, kg: Floats, *, rebuilt: int) -> Quantiles:
        """The wear of the edge when it had taken `kg` (crops,) of its life and had those shifts, as all
        readings before and after tell it."""
        wear, weights = [], []
        for state, share in self._states(part, life, rebuilt, shifts, self._at(kg)):
            sd = np.sqrt(np.maximum(state.covariance[:, 1:, 1], 0.0))
            wear.append(state.mean[:, 1:] + sd * self.many[:, 1])
            weights.append(np.repeat(share[:, None], FINE_CASES, axis=1))
        return Quantiles.of(np.concatenate(wear, axis=1) * self.budget, np.concatenate(weights, axis=1))

    def ahead(self, cases: Scenarios, now: Floats, later: Floats) -> Floats:
        """The wear in each scenario (G, T) when `later` (crops,) has been taken instead of `now`: on a
        straight line in u from the wear of today to the limit, and beyond at the pace of the multiplier."""
        today, then = self._at(now), self._at(later)
        at_limit = self.shapes.forward(
            np.maximum(cases.needed + (self.rates @ now)[:, None], 0.0) / self.budget
        )
        ahead = cases.needed > 0
        rise = np.where(ahead, self.budget - cases.wear_now, 0.0)
        share = np.where(ahead, (then - today) / np.where(ahead, at_limit - today, 1.0), 0.0)
        beyond = np.where(ahead, np.maximum(then - at_limit, 0.0), then - today)
        return np.asarray(
            cases.wear_now + rise * np.minimum(share, 1.0) + cases.multiplier * self.budget * beyond
        )

    def _at(self, kg: Floats) -> Floats:
        """u (G, 1) when so much seed has been taken."""
        return self.shapes.forward(self.rates @ kg / self.budget)[:, None]

    def _states(
        self, part: int, life: int, rebuilt: int, shifts: Floats, now: Floats
    ) -> list[tuple[EdgeState, Floats]]:
        """The states at u = `now` (G, 1) by each way to believe the readings, with the share (G,) of each."""
        own = np.flatnonzero(self.rows.part == part)
        at = self.shapes.forward(self.rates @ self.rows.kg[own].T / self.budget)
        states = [self._state(own, life, rebuilt, shifts, at, now, one) for one in self._beliefs(own, life)]
        chance = np.array([state.height for state in states])
        chance = np.exp(chance - chance.max(axis=0))
        chance /= chance.sum(axis=0)
        return [
            (state, share) for state, share in zip(states, chance, strict=True) if share.max() > LEAST_SHARE
        ]

    def _beliefs(self, own: Ints, life: int) -> Iterator[Belief]:
        readings, wander = self.readings, self.wander
        plain = readings.plain[own] > 0
        error = np.where(plain, wander.gauge_sd**2, 1.0) * wander.error[own]
        doubtful = np.flatnonzero(plain & (self.rows.life[own] == life) & (wander.loose[own] > FAR_OFF))
        doubtful = doubtful[np.argsort(-wander.loose[own][doubtful], kind="stable")][:MOST_DOUBTS]
        if not doubtful.size:
            yield Belief(error, wander.part, 0.0)
            return
        slip = gross(wander.gauge_sd) ** 2
        for number in range(2**doubtful.size):
            slips = np.array([bool(number >> bit & 1) for bit in range(doubtful.size)])
            here = error.copy()
            here[doubtful] = np.where(slips, np.maximum(slip, error[doubtful]), wander.gauge_sd**2)
            odds = float(np.sum(np.where(slips, np.log(SLIP_SHARE), np.log1p(-SLIP_SHARE))))
            yield Belief(here, wander.part, odds)
            yield Belief(here, wander.part * ODD_SIZE, odds + np.log(ODD_SHARE))

    def _state(
        self, own: Ints, life: int, rebuilt: int, shifts: Floats, at: Floats, now: Floats, belief: Belief
    ) -> EdgeState:
        """The state at u = `now` (G, 1), from the readings `own` at u = `at` (G, n)."""
        lives, moved = self.rows.life[own], SHIFT_SD**2 * self.rows.shifts[own]
        noise, part, spread = self.wander.noise, belief.part_spread, self.wander.life
        size = {"noise": noise, "part": part, "spread": spread}
        together = between(at, lives, at, lives, **size) + moved @ self.rows.shifts[own].T
        together += np.diag(belief.error)
        with_theta = at * (part**2 + spread**2 * (lives == life))
        with_wear = between(at, lives, now, np.array([life]), **size)[:, :, 0] + moved @ shifts
        both = np.stack([with_theta, with_wear], axis=2)
        alone = np.empty((len(at), 2, 2))
        alone[:, 0, 0] = part**2 + spread**2
        alone[:, 0, 1] = alone[:, 1, 0] = alone[:, 0, 0] * now[:, 0]
        alone[:, 1, 1] = alone[:, 0, 0] * now[:, 0] ** 2 + noise * now[:, 0] + SHIFT_SD**2 * shifts @ shifts
        away = self.readings.wear[own] - at * self._usual(self.rows.rebuilt[own])
        solved = np.linalg.solve(together, np.concatenate([both, away[:, :, None]], axis=2))
        gained = both.swapaxes(1, 2) @ solved
        height = (
            belief.odds
            - 0.5 * np.linalg.slogdet(together)[1]
            - 0.5 * np.einsum("gn,gn->g", away, solved[:, :, 2])
        )
        usual = self._usual(np.array([float(rebuilt)]))
        mean = np.concatenate([usual, usual * now], axis=1) + gained[:, :, 2]
        return EdgeState(mean, alone - gained[:, :, :2], height)

    def _usual(self, rebuilt: Floats) -> Floats:
        """The usual multiplier after so many rebuilds (n,), shape (G, n)."""
        return np.asarray(np.maximum(1.0 + self.trend * np.minimum(rebuilt, MOST_REBUILDS), LEAST_USUAL))

    def _outcomes(self, state: EdgeState, now: Floats) -> tuple[Floats, Floats, Floats]:
        """Further progress in u to the limit, wear now in budgets, and multiplier, shape (G, FINE_CASES).

        What is not known of the wear now and what is still to wander are drawn as one, so that an edge
        without readings has the same cases whatever it has taken."""
        z, covariance = self.many, state.covariance
        first = np.sqrt(np.maximum(covariance[:, :1, 0], 1e-12))
        cross = covariance[:, 1:, 0] / first
        theta = np.maximum(state.mean[:, :1] + first * z[:, 0], LEAST_THETA)
        left = 1.0 - state.mean[:, 1:] - cross * z[:, 0]
        doubt = np.maximum(covariance[:, 1:, 1] - cross**2, 0.0)
        further = progress_to_limit(theta, left, doubt, self.wander.noise, z[:, 1])
        # Of what is drawn as one, this much is wear now; the rest of its doubt is drawn for itself.
        shared = np.sqrt(doubt / (doubt + self.wander.noise * np.maximum(further, 0.0) + 1e-12))
        drawn = shared * z[:, 1] + np.sqrt(1.0 - shared**2) * z[:, 2]
        return further, 1.0 - left + np.sqrt(doubt) * drawn, theta

    def _not_retired(self, wear: Floats) -> Floats:
        spare = (1.0 + self.spreads.worn_at - wear) / self.spreads.worn
        return np.asarray(self.lapse + (1.0 - self.lapse) * special.ndtr(spare))

    def _reduced(self, needed: Floats, wear: Floats, theta: Floats, weights: Floats) -> Scenarios:
        """Keep a few cases of each row instead of many, each with the same share of the row's weight."""
        order = np.argsort(needed, axis=1, kind="stable")
        grown = np.cumsum(np.take_along_axis(weights, order, axis=1), axis=1)
        rows = grown[:, -1]
        place = (grown[:, None, :] < (self.kept * rows[:, None])[:, :, None]).sum(axis=2)
        chosen = np.take_along_axis(order, place, axis=1)
        return Scenarios(
            rates=self.rates,
            needed=np.take_along_axis(needed, chosen, axis=1),
            wear_now=np.take_along_axis(wear, chosen, axis=1),
            multiplier=np.take_along_axis(theta, chosen, axis=1),
            weights=np.repeat((rows / rows.sum() / OWN_CASES)[:, None], OWN_CASES, axis=1),
        )


def progress_to_limit(theta: Floats, left: Floats, doubt: Floats, noise: float, z: Floats) -> Floats:
    """The further progress u with theta * u + sqrt(doubt + noise * u) * z = left; below 0 where the limit has
    been passed already. All in budgets; shapes that go together."""
    noise = max(noise, LEAST_NOISE)
    pace, away = theta / noise, np.sqrt(doubt) * z
    root = np.sqrt(np.maximum(z**2 + 4.0 * pace * (left + pace * doubt), 0.0))
    further = (((root - z) / (2.0 * pace)) ** 2 - doubt) / noise
    return np.asarray(np.where(left > away, further, (left - away) / theta))


def _cholesky(covariance: Floats) -> Floats:
    """Cholesky factor of a covariance whose variances may differ widely in size. Records that contradict each
    other wildly can leave one that is not quite positive definite; then a little is added to each
    variance."""
    sd = np.sqrt(np.maximum(np.diagonal(covariance), 1e-12))
    alike = covariance / np.outer(sd, sd)
    lacking = max(1e-10, 1e-10 - float(np.linalg.eigvalsh(alike)[0]) * 1.01)
    return np.asarray(sd[:, None] * np.linalg.cholesky(alike + lacking * np.eye(len(sd))))
