"""Fixed cases of what is not known about an edge: how far it is worn, and what it can still take.

Rates and shape of the type have 64 cases, one for each row of the result; given one of them, what the
readings tell of the edge is normal (see `conditions`). The wear to come strays, too: with d still to go, of
which the variance is v, the drift theta, the stray pace p and the noise of `noise`, the limit is reached
after the further progress u that solves

    theta * u + p * carried(u) + sqrt(v + ahead(u)) * z = d          z standard normal

(for v = 0 and a pace without memory the distribution of Birnbaum and Saunders, "A new family of life
distributions", Journal of Applied Probability 6, 1969, from memory).
"""

from __future__ import annotations

import numpy as np
from scipy import special

from wearlog.calc.wear import shape
from wearlog.calc.wear.conditions import FIRST_HARVEST, PACE, THETA, Conditions, EdgeState, Globals
from wearlog.calc.wear.fits import Quantiles, Scenarios
from wearlog.calc.wear.harvests import LARGEST
from wearlog.calc.wear.learned import Known
from wearlog.calc.wear.nodes import nodes
from wearlog.calc.wear.noise import Noise
from wearlog.calc.wear.records import Floats
from wearlog.calc.wear.state import WIDEST

RATE_CASES, OWN_CASES, FINE_CASES = 64, 8, 64
LEAST_LAPSE = 0.05
LEAST_THETA, LEAST_NOISE = 0.05, 1e-6
LEAST_PACE = 0.8
"""A stray pace takes at most this share of the usual one away for good: wear does not heal."""
CLOSER = 5  # steps towards the further progress, each from a pace without memory that is as wide


class Cases:
    """Fixed cases of the type's rates and shape, one per row, and for each row the cases of one edge."""

    def __init__(self, known: Known) -> None:
        problem, post = known.problem, known.posterior
        crops = len(post.log_rates)
        away = nodes(len(post.covariance), RATE_CASES) @ _cholesky(post.covariance).T
        away = np.clip(away, -WIDEST, WIDEST)
        self.rates = np.exp(post.log_rates + away[:, :crops])
        self.shapes = shape.Shapes.of(post.h + away[:, crops:-1])
        common = Globals(self.rates, self.shapes, post.trend + away[:, -1:], away)
        self.conditions = Conditions(known, common)
        self.rows, self.budget, self.spreads = problem.rows, problem.budget, post.spreads
        self.noise, self.harvests = post.wander.noise, post.harvests
        # A mill that retires its edges once they are worn would have retired this one if it were worn. How
        # strongly that counts grows with the number of edges so retired, and is never certain.
        self.lapse = max(2.0 / (known.retired_worn + 2.0), LEAST_LAPSE)
        # One column each for what is drawn of the state but the wear, for the wear, and for its doubt.
        self.drawn = [THETA]
        if self.noise.length:
            self.drawn.append(PACE)
        if self.harvests.spread:
            self.drawn += range(FIRST_HARVEST, FIRST_HARVEST + crops)
        self.many = nodes(len(self.drawn) + 2, FINE_CASES)
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
        (columns,) since it began, with those shifts (K,) so far. A part of number -1 has no readings.
        at_work: cases in which the edge should have been retired weigh less."""
        effects = self.conditions.effects(part)
        progress, now = effects.progress(kg[None]), effects.at(kg[None])[0]
        cases = [
            (*self._outcomes(state), np.repeat(share[:, None], FINE_CASES, axis=1))
            for state, share in self.conditions.states(effects, part, life, rebuilt, shifts, kg)
        ]
        further, wear, theta, pace, weights = (
            np.concatenate([case[which] for case in cases], axis=1) for which in range(5)
        )
        at_limit = self.shapes.backward(now + further)
        needed = at_limit * self.budget - progress
        if at_work and self.lapse < 1.0:
            weights = weights * self._not_retired(wear)
        return self._reduced(needed, wear * self.budget, theta, pace, weights)

    def wear_at(self, part: int, life: int, shifts: Floats, kg: Floats, *, rebuilt: int) -> Quantiles:
        """The wear of the edge when it had taken `kg` (columns,) of its life and had those shifts, as all
        readings before and after tell it."""
        wear, weights = [], []
        effects = self.conditions.effects(part)
        for state, share in self.conditions.states(effects, part, life, rebuilt, shifts, kg):
            sd = np.sqrt(np.maximum(state.covariance[:, -1:, -1], 0.0))
            wear.append(state.mean[:, -1:] + sd * self.many[:, -2])
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

    def _outcomes(self, state: EdgeState) -> tuple[Floats, Floats, Floats, Floats]:
        """Further progress in u to the limit, wear now in budgets, multiplier, and how today's harvests wear
        in parts of the usual; shape (G, FINE_CASES), the last (G, FINE_CASES, crops).

        What is not known of the wear now and what is still to stray are drawn as one, so that an edge without
        readings has the same cases whatever it has taken."""
        z, which = self.many, [*self.drawn, -1]
        root = _roots(state.covariance[:, which][:, :, which])
        drawn = state.mean[:, which][:, None, :] + z[:, :-1] @ root.swapaxes(1, 2)
        theta = np.maximum(drawn[:, :, 0], LEAST_THETA)
        pace = np.zeros_like(theta)
        if self.noise.length:
            pace = np.maximum(drawn[:, :, 1], -LEAST_PACE * theta)
        doubt = root[:, -1, -1:] ** 2
        left = 1.0 - (drawn[:, :, -1] - root[:, -1, -1:] * z[:, -2])
        further = progress_to_limit(theta, left, doubt, self.noise, z[:, -2], pace)
        # Of what is drawn as one, this much is wear now; the rest of its doubt is drawn for itself.
        to_come = self.noise.ahead(np.maximum(further, 0.0))
        shared = np.sqrt(doubt / (doubt + to_come + 1e-12))
        apart = shared * z[:, -2] + np.sqrt(1.0 - shared**2) * z[:, -1]
        crops = self.rates.shape[1]
        harvests = np.ones((*theta.shape, crops))
        if self.harvests.spread:
            harvests = np.exp(np.clip(drawn[:, :, -1 - crops : -1], -LARGEST, LARGEST))
        return further, 1.0 - left + np.sqrt(doubt) * apart, theta, harvests

    def _not_retired(self, wear: Floats) -> Floats:
        spare = (1.0 + self.spreads.worn_at - wear) / self.spreads.worn
        return np.asarray(self.lapse + (1.0 - self.lapse) * special.ndtr(spare))

    def _reduced(
        self, needed: Floats, wear: Floats, theta: Floats, harvests: Floats, weights: Floats
    ) -> Scenarios:
        """Keep a few cases of each row instead of many, each with the same share of the row's weight."""
        order = np.argsort(needed, axis=1, kind="stable")
        grown = np.cumsum(np.take_along_axis(weights, order, axis=1), axis=1)
        rows = grown[:, -1]
        place = (grown[:, None, :] < (self.kept * rows[:, None])[:, :, None]).sum(axis=2)
        chosen = np.take_along_axis(order, place, axis=1)
        known = np.take_along_axis(harvests, chosen[:, :, None], axis=1)
        return Scenarios(
            rates=self.rates,
            needed=np.take_along_axis(needed, chosen, axis=1),
            wear_now=np.take_along_axis(wear, chosen, axis=1),
            multiplier=np.take_along_axis(theta, chosen, axis=1),
            weights=np.repeat((rows / rows.sum() / OWN_CASES)[:, None], OWN_CASES, axis=1),
            harvests=known if self.harvests.spread else None,
            harvest_spread=self.harvests.spread,
        )


def progress_to_limit(
    theta: Floats, left: Floats, doubt: Floats, noise: Noise, z: Floats, pace: Floats | None = None
) -> Floats:
    """The further progress u with theta * u + pace * carried(u) + sqrt(doubt + ahead(u)) * z = left; below 0
    where the limit has been passed already. All in budgets; shapes that go together."""
    if not noise.length or pace is None:
        return _without_memory(theta, left, doubt, np.asarray(noise.size), z)
    further = np.maximum(left, 0.05) / theta
    for _ in range(CLOSER):
        drift = np.maximum(theta + pace * noise.carried(further) / further, LEAST_THETA)
        found = _without_memory(drift, left, doubt, noise.ahead(further) / further, z)
        further = np.clip(found, 1e-3, 100.0)
    return found


def _without_memory(theta: Floats, left: Floats, doubt: Floats, size: Floats, z: Floats) -> Floats:
    size = np.maximum(size, LEAST_NOISE)
    pace, away = theta / size, np.sqrt(doubt) * z
    root = np.sqrt(np.maximum(z**2 + 4.0 * pace * (left + pace * doubt), 0.0))
    further = (((root - z) / (2.0 * pace)) ** 2 - doubt) / size
    return np.asarray(np.where(left > away, further, (left - away) / theta))


def _roots(covariances: Floats) -> Floats:
    """Lower triangular roots of covariances (G, S, S), of which rounding may have made some indefinite."""
    values, vectors = np.linalg.eigh(covariances)
    root = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    upper = np.asarray(np.linalg.qr(root.swapaxes(1, 2), mode="r"))
    ahead = np.where(np.diagonal(upper, axis1=1, axis2=2) < 0, -1.0, 1.0)
    return np.asarray((upper * ahead[:, :, None]).swapaxes(1, 2))


def _cholesky(covariance: Floats) -> Floats:
    """Cholesky factor of a covariance whose variances may differ widely in size. Records that contradict each
    other wildly can leave one that is not quite positive definite; then a little is added to each
    variance."""
    sd = np.sqrt(np.maximum(np.diagonal(covariance), 1e-12))
    alike = covariance / np.outer(sd, sd)
    lacking = max(1e-10, 1e-10 - float(np.linalg.eigvalsh(alike)[0]) * 1.01)
    return np.asarray(sd[:, None] * np.linalg.cholesky(alike + lacking * np.eye(len(sd))))
