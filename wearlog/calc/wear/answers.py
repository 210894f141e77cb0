"""From a fitted type to what is said of each of its edges."""

from __future__ import annotations

from collections.abc import Hashable

import numpy as np
from scipy import special

from wearlog.calc.wear import shape
from wearlog.calc.wear.fits import EdgeFit, Quantiles, Scenarios, TypeFit
from wearlog.calc.wear.model import Posterior, Problem
from wearlog.calc.wear.nodes import nodes
from wearlog.calc.wear.records import Floats, TypeRecord

RATE_CASES, OWN_CASES, FINE_CASES = 32, 8, 64
LEAST_LAPSE = 0.05


def answer(
    record: TypeRecord, problem: Problem, post: Posterior, informed: bool, retired_worn: int
) -> TypeFit:
    """`retired_worn`: how many edges the whole fleet has retired as worn."""
    crops, rows = record.crops, problem.rows
    case = _Cases(problem, post, retired_worn)
    everyone = "fleet" if informed else "expected_life"
    edges = {}
    for index, edge in enumerate(record.edges):
        part, life = rows.edge_part[index], rows.edge_life[index]
        pick = np.zeros((2, post.local.shape[1]))
        pick[0, life] = 1.0
        pick[1, rows.lives :] = rows.edge_shifts[index]
        mean = pick @ post.local[part] + case.away @ (pick @ post.slope[part]).T
        covariance = pick @ post.local_cov[part] @ pick.T
        kg = rows.edge_kg[index]
        cases = case.at_work(mean, covariance, kg) if edge.in_use else case.plain(mean, covariance, kg)
        told = bool(rows.edge_readings[index]) and bool(kg.sum() > 0)
        edges[edge.key] = _edge(edge.key, "measured" if told else everyone, cases)
    variance = post.spreads.part**2 + post.spreads.life**2
    fresh = case.plain(np.zeros((RATE_CASES, 2)), np.diag([variance, 0.0]), np.zeros(crops))
    return TypeFit(
        key=record.key,
        rates=tuple(Quantiles.of(case.rates[:, crop]) for crop in range(crops)),
        gauge_sd=post.gauge_sd,
        spread=float(np.sqrt(variance)),
        edges=edges,
        new_edge=_edge(None, everyone, fresh),
    )


class _Cases:
    """Cases of the type's rates and shape, and for each the cases of an edge."""

    def __init__(self, problem: Problem, post: Posterior, retired_worn: int) -> None:
        crops = len(post.log_rates)
        self.away = nodes(len(post.covariance), RATE_CASES) @ np.linalg.cholesky(post.covariance).T
        self.rates = np.exp(post.log_rates + self.away[:, :crops])
        self.tables = shape.heights(post.h + self.away[:, crops:])
        self.budget = problem.budget
        self.spreads = post.spreads
        # A mill that retires its edges when they are worn has not seen this one worn; how far that is to be
        # believed grows with how often it did so, and is never certain.
        self.lapse = max(2.0 / (retired_worn + 2.0), LEAST_LAPSE)
        self.few, self.many = nodes(2, OWN_CASES), nodes(2, FINE_CASES)

    def plain(self, mean: Floats, covariance: Floats, kg: Floats) -> Scenarios:
        """Of an edge whose log multiplier and shift have this mean (G, 2) and covariance (2, 2)."""
        needed, wear, theta = self._follow(mean, covariance, kg, self.few)
        return Scenarios(
            rates=self.rates,
            needed=needed,
            wear_now=wear,
            multiplier=theta,
            weights=np.full(needed.shape, 1.0 / needed.size),
        )

    def at_work(self, mean: Floats, covariance: Floats, kg: Floats) -> Scenarios:
        """The same of an edge that has not been retired: its cases weigh less where they say it should be."""
        if self.lapse >= 1.0:
            return self.plain(mean, covariance, kg)
        needed, wear, theta = self._follow(mean, covariance, kg, self.many)
        spare = (1.0 + self.spreads.worn_at - wear / self.budget) / self.spreads.worn
        weights = self.lapse + (1.0 - self.lapse) * special.ndtr(spare)
        order = np.argsort(needed, axis=1, kind="stable")
        grown = np.cumsum(np.take_along_axis(weights, order, axis=1), axis=1)
        rows = grown[:, -1]
        points = (np.arange(OWN_CASES) + 0.5) / OWN_CASES
        place = (grown[:, None, :] < points[:, None] * rows[:, None, None]).sum(axis=2)
        chosen = np.take_along_axis(order, place, axis=1)
        return Scenarios(
            rates=self.rates,
            needed=np.take_along_axis(needed, chosen, axis=1),
            wear_now=np.take_along_axis(wear, chosen, axis=1),
            multiplier=np.take_along_axis(theta, chosen, axis=1),
            weights=np.repeat((rows / rows.sum() / OWN_CASES)[:, None], OWN_CASES, axis=1),
        )

    def _follow(
        self, mean: Floats, covariance: Floats, kg: Floats, z: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Progress needed, wear now and multiplier for each case of the rates and each of the edge."""
        own = mean[:, None, :] + z @ _root(covariance).T
        theta, shift = np.exp(own[:, :, 0]), own[:, :, 1]
        progress = self.rates @ kg
        at_limit = shape.backward(self.tables, (1.0 - shift / self.budget) / theta)
        worn = shape.forward(self.tables, progress / self.budget)[:, None]
        return at_limit * self.budget - progress[:, None], theta * self.budget * worn + shift, theta


def _root(covariance: Floats) -> Floats:
    """Cholesky root of a 2 x 2 covariance whose second variance may be 0."""
    first = np.sqrt(covariance[0, 0])
    cross = covariance[1, 0] / first
    return np.array([[first, 0.0], [cross, np.sqrt(max(covariance[1, 1] - cross**2, 0.0))]])


def _edge(key: Hashable, basis: str, cases: Scenarios) -> EdgeFit:
    return EdgeFit(
        key=key,
        basis=basis,
        now=Quantiles.of(cases.wear_now, cases.weights),
        multiplier=Quantiles.of(cases.multiplier, cases.weights),
        scenarios=cases,
    )
