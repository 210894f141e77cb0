"""Forecasts of each edge of a type from what was learned about the type."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Iterator, Mapping

import numpy as np
from scipy import special

from wearlog.calc.wear import shape
from wearlog.calc.wear.fits import EdgeFit, Quantiles, Scenarios, TypeFit
from wearlog.calc.wear.learned import NO_WORK, NOTHING_KNOWN, Known, Learned
from wearlog.calc.wear.lives import PLAIN, Ints, Places, shifted_at
from wearlog.calc.wear.nodes import nodes
from wearlog.calc.wear.records import Floats, TypeRecord
from wearlog.calc.wear.state import WIDEST, log_likelihood

RATE_CASES, OWN_CASES, FINE_CASES = 64, 8, 64
LEAST_LAPSE = 0.05
FAR_OFF = 1.5  # in gauge errors: with a reading further off than this, all the edge's readings are re-weighed
GRID_CASES, GRID_REACH = 129, 10.0
# Some parts are of another make of steel: this share of multipliers has a spread this many times the usual.
ODD_SHARE, ODD_SIZE = 0.01, 4.0


def answers(record: TypeRecord, learned: Learned, keys: Iterable[Hashable] | None = None) -> TypeFit:
    """Forecast the edges of `record` as they are now, from `learned`, the result of `learn` for the same
    type.

    `record` must hold the edges that were learned from, in the same order; the seed that they have taken
    since and which of them are in use may have changed. The mapping `edges` of the result computes each edge
    when it is first asked for. With `keys` it contains only these. Raises ValueError where the number of
    edges differs, KeyError for a key that the record does not have."""
    if learned.edges != len(record.edges):
        raise ValueError("the record has other edges than those learned from: learn again")
    places = {edge.key: index for index, edge in enumerate(record.edges)}
    if keys is not None:
        places = {key: places[key] for key in keys}
    known, reason = learned.known, learned.reason
    if known is not None and not record.expected_life_kg:
        # Compared with the seed that edges have taken by now, readings at (almost) no seed say nothing of
        # wear.
        most = max((float(edge.now_kg.sum()) for edge in record.edges), default=0.0)
        if known.most_kg <= NO_WORK * most:
            known, reason = None, NOTHING_KNOWN
    if known is None or learned.places is None:
        return TypeFit(
            key=record.key,
            rates=(None,) * record.crops,
            gauge_sd=None,
            spread=None,
            edges={key: EdgeFit(key=key, basis="none", reason=reason) for key in places},
            new_edge=EdgeFit(key=None, basis="none", reason=reason),
        )
    edges = _Edges(record, places, learned.places, known)
    return TypeFit(
        key=record.key,
        rates=tuple(Quantiles.of(edges.case.rates[:, crop]) for crop in range(record.crops)),
        gauge_sd=known.posterior.gauge_sd,
        spread=math.hypot(known.posterior.spreads.part, known.posterior.spreads.life),
        edges=edges,
        new_edge=edges.new(),
    )


def wear_along(
    record: TypeRecord, learned: Learned, key: Hashable | None, seed: Floats, at: Floats
) -> tuple[Quantiles, ...]:
    """The wear toward the limit, since new, of an edge at other moments of its present life, as everything
    that is known today tells it; empty where nothing is known.

    key: the edge, None for one that was never used. seed: what it had taken, or will have taken, since it was
    new, shape (n, crops). at: the instants, shape (n,); a shift of the dimension by work that was done later
    is taken off again at its likeliest size. The cases are those of the edge's `scenarios`, so that the 10,
    50 and 90 % points reach the limit where `seed_left` says."""
    edges = answers(record, learned, () if key is None else (key,)).edges
    return edges.along(key, seed, at) if isinstance(edges, _Edges) else ()


class _Edges(Mapping[Hashable, EdgeFit]):
    """The fit of each edge, computed when it is first asked for and then kept."""

    def __init__(
        self, record: TypeRecord, index: Mapping[Hashable, int], places: Places, known: Known
    ) -> None:
        self.record, self.index, self.places = record, index, places
        self.case = _Cases(known)
        self.everyone = "fleet" if known.informed else "expected_life"
        self.fitted: dict[Hashable, EdgeFit] = {}

    def __len__(self) -> int:
        return len(self.index)

    def __iter__(self) -> Iterator[Hashable]:
        return iter(self.index)

    def __getitem__(self, key: Hashable) -> EdgeFit:
        found = self.fitted.get(key)
        if found is None:
            found = self.fitted[key] = self._edge(self.index[key])
        return found

    def new(self) -> EdgeFit:
        spreads = self.case.post.spreads
        covariance = np.diag([spreads.part**2 + spreads.life**2, 0.0])
        cases = self.case.plain(np.zeros((RATE_CASES, 2)), covariance, np.zeros(self.record.crops))
        return _edge(None, self.everyone, cases)

    def along(self, key: Hashable | None, seed: Floats, at: Floats) -> tuple[Quantiles, ...]:
        index = None if key is None else self.index[key]
        cases = (self.new() if key is None else self[key]).scenarios
        assert cases is not None
        budget = self.case.budget
        begun, now = np.zeros(self.record.crops), np.zeros(self.record.crops)
        if index is not None:
            begun = self.places.start_kg[index]
            now = np.maximum(self.record.edges[index].now_kg - begun, 0.0)
        kg = np.maximum(np.vstack([now, seed - begun]), 0.0)
        pressed = self.case.shapes.forward(self.case.rates @ kg.T / budget)
        worn = cases.multiplier[:, :, None] * budget * pressed[:, None, :]
        shift = (cases.wear_now - worn[:, :, 0])[:, :, None]
        if index is not None:
            shift = shift - self._undone(index, at)[:, None, :]
        wear = worn[:, :, 1:] + shift
        return tuple(Quantiles.of(wear[:, :, place], cases.weights) for place in range(len(seed)))

    def _undone(self, index: int, at: Floats) -> Floats:
        """By how much the works on an edge after each instant shifted its dimension, shape (G, n)."""
        post, part = self.case.post, int(self.places.part[index])
        places = self.case.problem.rows.lives + np.flatnonzero(self.places.shifts[index])
        sizes = post.local[part, places] + self.case.away @ post.slope[part, places].T
        later = np.array(shifted_at(self.record.edges[index]))[:, None] > at
        return np.asarray(sizes @ later.astype(float))

    def _edge(self, index: int) -> EdgeFit:
        edge, places, case = self.record.edges[index], self.places, self.case
        part, life = int(places.part[index]), int(places.life[index])
        kg = np.maximum(edge.now_kg - places.start_kg[index], 0.0)
        doubtful = case.doubtful(part, life) if edge.in_use else None
        if doubtful is not None and doubtful.size:
            cases = case.weighed(part, life, doubtful, kg)
        else:
            mean, covariance = case.multiplier_and_shift(part, life, places.shifts[index])
            cases = (case.at_work if edge.in_use else case.plain)(mean, covariance, kg)
        informative = bool(places.readings[index]) and bool(kg.sum() > 0)
        return _edge(edge.key, "measured" if informative else self.everyone, cases)


class _Cases:
    """Fixed cases of the type's rates and shape, one per row, and for each row the cases of one edge."""

    def __init__(self, known: Known) -> None:
        problem, post = known.problem, known.posterior
        crops = len(post.log_rates)
        away = nodes(len(post.covariance), RATE_CASES) @ _cholesky(post.covariance).T
        self.away = np.clip(away, -WIDEST, WIDEST)
        self.rates = np.exp(post.log_rates + self.away[:, :crops])
        self.shapes = shape.Shapes.of(post.h + self.away[:, crops:])
        self.problem, self.post, self.budget = problem, post, problem.budget
        self.spreads = post.spreads
        # A mill that retires its edges once they are worn would have retired this one if it were worn. How
        # strongly that counts grows with the number of edges so retired, and is never certain.
        self.lapse = max(2.0 / (known.retired_worn + 2.0), LEAST_LAPSE)
        self.many = nodes(2, FINE_CASES)
        # Which quantiles of a row's cases are kept. They differ from row to row, so that all rows together
        # fill the range; with the same ones in each, the 10 % point of an edge's own uncertainty would be its
        # outermost case.
        begin = (np.arange(1.0, RATE_CASES // 2 + 1.0) * np.sqrt(2.0)) % 1.0
        begin = np.concatenate([begin, 1.0 - begin])
        self.kept = (np.arange(OWN_CASES) + begin[:, None]) / OWN_CASES

    def multiplier_and_shift(self, part: int, life: int, shifts: Floats) -> tuple[Floats, Floats]:
        """Mean (G, 2) and covariance (2, 2) of a life's log multiplier and the sum of its shifts."""
        post = self.post
        pick = np.zeros((2, post.local.shape[1]))
        pick[0, life] = 1.0
        pick[1, self.problem.rows.lives :] = shifts
        mean = pick @ post.local[part] + self.away @ (pick @ post.slope[part]).T
        return mean, pick @ post.local_cov[part] @ pick.T

    def plain(self, mean: Floats, covariance: Floats, kg: Floats) -> Scenarios:
        """Scenarios of an edge whose log multiplier and shift have this mean (G, 2) and covariance (2, 2)."""
        needed, wear, theta = self._outcomes(mean, covariance, kg, self.many)
        return self._reduced(needed, wear, theta, np.ones_like(needed))

    def at_work(self, mean: Floats, covariance: Floats, kg: Floats) -> Scenarios:
        """The same for an edge still in use: cases in which it should have been retired weigh less."""
        if self.lapse >= 1.0:
            return self.plain(mean, covariance, kg)
        needed, wear, theta = self._outcomes(mean, covariance, kg, self.many)
        return self._reduced(needed, wear, theta, self._not_retired(wear))

    def doubtful(self, part: int, life: int) -> Ints:
        """The rows of a life's readings if one of them is an outlier and none depends on a shift; else
        none."""
        rows = self.problem.rows
        own = np.flatnonzero((rows.part == part) & (rows.life == life))
        if own.size == 0 or rows.shifts[own].any():
            return own[:0]
        away = (rows.wear[own] - self.post.worn[own]) / self.post.gauge_sd
        return own if (np.abs(away[rows.kind[own] == PLAIN]) > FAR_OFF).any() else own[:0]

    def weighed(self, part: int, life: int, own: Ints, kg: Floats) -> Scenarios:
        """Scenarios of an edge with an outlying reading. The normal approximation would not do: every
        multiplier on a grid is weighed by the likelihood of all the readings `own`, so that where either the
        outlier or the others may be right, both possibilities stay in the range."""
        post, rows = self.post, self.problem.rows
        # The distribution without the edge's own readings, given each case of the rates, as precision and
        # mean.
        precision = np.linalg.inv(post.local_cov[part])
        information = precision @ (post.local[part] + self.away @ post.slope[part].T)[:, :, None]
        weight, worn = post.weight[own], post.worn[own]
        information[:, life, 0] -= (worn * (weight * worn * post.local[part, life] + post.score[own])).sum()
        information[:, life, 0] += self.away @ ((weight * worn) @ post.by_global[own])
        precision[life, life] -= (weight * worn**2).sum()
        covariance = np.linalg.inv(precision)
        middle = np.clip(np.nan_to_num((covariance[life] @ information)[:, 0]), -WIDEST, WIDEST)
        spread = min(float(np.sqrt(max(covariance[life, life], 1e-6))), 0.5)
        # Grid points lie close together near the mode, where many readings allow little, and get wider apart.
        mode = np.nan_to_num(post.local[part, life] + self.away @ post.slope[part, life])
        mode = np.clip(mode, -WIDEST, WIDEST)
        narrow = float(np.sqrt(np.clip(post.local_cov[part, life, life], (1e-3 * spread) ** 2, spread**2)))
        reach = GRID_REACH * spread + float(np.abs(middle - mode).max())
        apart = np.linspace(-1.0, 1.0, GRID_CASES) * np.arcsinh(reach / narrow)
        log_theta = mode[:, None] + narrow * np.sinh(apart)
        theta, z = np.exp(log_theta), (log_theta - middle[:, None]) / spread
        at = self.shapes.forward(self.rates @ rows.kg[own].T / self.budget)
        away = (rows.wear[own] - theta[:, :, None] * self.budget * at[:, None, :]) / post.gauge_sd
        usual = np.log1p(-ODD_SHARE) - 0.5 * z**2
        odd = np.log(ODD_SHARE / ODD_SIZE) - 0.5 * (z / ODD_SIZE) ** 2
        chance = log_likelihood(rows.kind[own], away).sum(axis=2) + np.logaddexp(usual, odd)
        chance += np.log(np.cosh(apart))
        chance = np.exp(chance - chance.max(axis=1, keepdims=True))
        chance /= chance.sum(axis=1, keepdims=True)
        needed, wear = self._reach(theta, np.zeros_like(theta), kg)
        return self._reduced(needed, wear, theta, chance * self._not_retired(wear))

    def _not_retired(self, wear: Floats) -> Floats:
        spare = (1.0 + self.spreads.worn_at - wear / self.budget) / self.spreads.worn
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

    def _outcomes(
        self, mean: Floats, covariance: Floats, kg: Floats, z: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Needed progress, wear now and multiplier, shape (rows, cases), for each case of the rates and each
        case `z` of the edge."""
        own = mean[:, None, :] + z @ _root(covariance).T
        theta = np.exp(np.clip(own[:, :, 0], -2 * WIDEST, 2 * WIDEST))
        return (*self._reach(theta, own[:, :, 1], kg), theta)

    def _reach(self, theta: Floats, shift: Floats, kg: Floats) -> tuple[Floats, Floats]:
        progress = self.rates @ kg
        at_limit = self.shapes.backward((1.0 - shift / self.budget) / theta)
        worn = self.shapes.forward(progress / self.budget)[:, None]
        return at_limit * self.budget - progress[:, None], theta * self.budget * worn + shift


def _cholesky(covariance: Floats) -> Floats:
    """Cholesky factor of a covariance whose variances may differ widely in size. Records that contradict each
    other wildly can leave one that is not quite positive definite; then a little is added to each
    variance."""
    sd = np.sqrt(np.maximum(np.diagonal(covariance), 1e-12))
    alike = covariance / np.outer(sd, sd)
    lacking = max(1e-10, 1e-10 - float(np.linalg.eigvalsh(alike)[0]) * 1.01)
    return np.asarray(sd[:, None] * np.linalg.cholesky(alike + lacking * np.eye(len(sd))))


def _root(covariance: Floats) -> Floats:
    """Cholesky root of a 2 x 2 covariance whose second variance may be 0."""
    first = np.sqrt(max(covariance[0, 0], 1e-12))
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
