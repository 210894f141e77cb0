"""The door of the wear model: records in, fits out."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np

from wearlog.calc.wear import shape
from wearlog.calc.wear.fits import EdgeFit, Quantiles, Scenarios, TypeFit
from wearlog.calc.wear.lives import PLAIN, WORN_OUT, Rows, rows_of
from wearlog.calc.wear.model import Posterior, Problem, fit
from wearlog.calc.wear.nodes import nodes
from wearlog.calc.wear.records import Floats, TypeRecord

RATE_CASES, OWN_CASES = 32, 8

NO_DIMENSIONS = "the part type has no new dimension or no limit"
NOTHING_KNOWN = "no gauge of this type has been read after use, and no expected life is given"


def fit_fleet(records: Sequence[TypeRecord]) -> tuple[TypeFit, ...]:
    """One fit per part type, in the order given. Deterministic; the order of records does not matter.

    A type of which nothing is known gets fits whose basis is "none" and whose numbers are None."""
    problems: dict[int, Problem] = {}
    informed: dict[int, bool] = {}
    reasons: dict[int, str] = {}
    for index, record in enumerate(records):
        if record.new is None or record.limit is None or record.new == record.limit:
            reasons[index] = NO_DIMENSIONS
            continue
        budget = abs(record.limit - record.new)
        rows = rows_of(record)
        used = (rows.kg.sum(axis=1) > 0) & np.isin(rows.kind, (PLAIN, WORN_OUT))
        informed[index] = bool(used.any())
        if record.expected_life_kg and record.expected_life_kg > 0:
            problems[index] = Problem(
                rows, budget, float(np.log(budget / record.expected_life_kg)), 0.4, record.gauge_guess
            )
        elif used.any():
            problems[index] = Problem(
                rows, budget, _rough_log_rate(rows, used, budget), 1.0, record.gauge_guess
            )
        else:
            reasons[index] = NOTHING_KNOWN
    posteriors: dict[int, Posterior] = {}
    if problems:
        posteriors = dict(zip(problems, fit(list(problems.values())), strict=True))
    return tuple(
        _nothing(record, reasons[index])
        if index in reasons
        else _answer(record, problems[index], posteriors[index], informed[index])
        for index, record in enumerate(records)
    )


def fit_type(record: TypeRecord) -> TypeFit:
    """`fit_fleet` of one type alone. Where a mill has several, fit them together: they teach each other."""
    return fit_fleet([record])[0]


def _nothing(record: TypeRecord, reason: str) -> TypeFit:
    def blank(key: Hashable) -> EdgeFit:
        return EdgeFit(key=key, basis="none", reason=reason)

    return TypeFit(
        key=record.key,
        rates=(None,) * record.crops,
        gauge_sd=None,
        spread=None,
        edges={edge.key: blank(edge.key) for edge in record.edges},
        new_edge=blank(None),
    )


def _rough_log_rate(rows: Rows, used: np.ndarray, budget: float) -> float:
    ratios = np.maximum(rows.wear[used], 0.02 * budget) / rows.kg[used].sum(axis=1)
    return float(np.log(np.median(ratios)))


def _answer(record: TypeRecord, problem: Problem, post: Posterior, informed: bool) -> TypeFit:
    crops, rows, budget = record.crops, problem.rows, problem.budget
    away = nodes(len(post.covariance), RATE_CASES) @ _root(post.covariance).T
    rates = np.exp(post.log_rates + away[:, :crops])
    tables = shape.heights(post.h + away[:, crops:])
    own_z = nodes(2, OWN_CASES)
    everyone = "fleet" if informed else "expected_life"

    def scenarios(mean: Floats, covariance: Floats, kg: Floats) -> Scenarios:
        # mean (G, 2) and covariance (2, 2) of log multiplier and shift.
        own = mean[:, None, :] + own_z @ _root(covariance).T
        theta, shift = np.exp(own[:, :, 0]), own[:, :, 1]
        progress = rates @ kg
        at_limit = shape.backward(tables, (1.0 - shift / budget) / theta)
        wear = theta * budget * shape.forward(tables, progress / budget)[:, None] + shift
        return Scenarios(
            rates=rates, needed=at_limit * budget - progress[:, None], wear_now=wear, multiplier=theta
        )

    edges = {}
    for index, edge in enumerate(record.edges):
        part, life = rows.edge_part[index], rows.edge_life[index]
        pick = np.zeros((2, post.local.shape[1]))
        pick[0, life] = 1.0
        pick[1, rows.lives :] = rows.edge_shifts[index]
        mean = pick @ post.local[part] + away @ (pick @ post.slope[part]).T
        cases = scenarios(mean, pick @ post.local_cov[part] @ pick.T, rows.edge_kg[index])
        told = bool(rows.edge_readings[index]) and bool(rows.edge_kg[index].sum() > 0)
        edges[edge.key] = _edge(edge.key, "measured" if told else everyone, cases)
    variance = post.spreads.part**2 + post.spreads.life**2
    fresh = scenarios(np.zeros((RATE_CASES, 2)), np.diag([variance, 0.0]), np.zeros(crops))
    return TypeFit(
        key=record.key,
        rates=tuple(Quantiles.of(rates[:, crop]) for crop in range(crops)),
        gauge_sd=post.gauge_sd,
        spread=float(np.sqrt(variance)),
        edges=edges,
        new_edge=_edge(None, everyone, fresh),
    )


def _root(covariance: Floats) -> Floats:
    """A square root whose first columns carry the most variance, so that few nodes stand for it well."""
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    # An eigenvector's sign is arbitrary; fix it, so that the same records always give the same cases.
    signs = np.where(root.sum(axis=0) < 0, -1.0, 1.0)
    return np.asarray((root * signs)[:, ::-1])


def _edge(key: Hashable, basis: str, cases: Scenarios) -> EdgeFit:
    return EdgeFit(
        key=key,
        basis=basis,
        now=Quantiles.of(cases.wear_now.ravel()),
        multiplier=Quantiles.of(cases.multiplier.ravel()),
        scenarios=cases,
    )
