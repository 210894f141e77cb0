"""The door of the wear model: records in, fits out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wearlog.calc.wear.fits import EdgeFit, Quantiles, Scenarios, TypeFit
from wearlog.calc.wear.lives import PLAIN, WORN_OUT, Rows, rows_of
from wearlog.calc.wear.model import Posterior, fit, nodes
from wearlog.calc.wear.records import Floats, TypeRecord

RATE_CASES, OWN_CASES = 32, 8

NO_DIMENSIONS = "the part type has no new dimension or no limit"
NOTHING_KNOWN = "no gauge of this type has been read after use, and no expected life is given"


def fit_fleet(records: Sequence[TypeRecord]) -> tuple[TypeFit, ...]:
    """One fit per part type, in the order given. Deterministic; the order of records does not matter.

    A type of which nothing is known gets fits whose basis is "none" and whose numbers are None."""
    return tuple(fit_type(record) for record in records)


def fit_type(record: TypeRecord) -> TypeFit:
    """`fit_fleet` for a mill with one part type."""
    if record.new is None or record.limit is None or record.new == record.limit:
        return _nothing(record, NO_DIMENSIONS)
    budget = abs(record.limit - record.new)
    rows = rows_of(record)
    used = rows.kg.sum(axis=1) > 0
    informed = bool((used & np.isin(rows.kind, (PLAIN, WORN_OUT))).any())
    if record.expected_life_kg and record.expected_life_kg > 0:
        log_rate, log_rate_sd = float(np.log(budget / record.expected_life_kg)), 0.4
    elif informed:
        log_rate, log_rate_sd = _rough_log_rate(rows, used, budget), 1.0
    else:
        return _nothing(record, NOTHING_KNOWN)
    posterior = fit(rows, budget, log_rate, log_rate_sd, record.gauge_guess)
    return _answer(record, rows, posterior, budget, informed)


def _nothing(record: TypeRecord, reason: str) -> TypeFit:
    def blank(key: object) -> EdgeFit:
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
    plain = used & np.isin(rows.kind, (PLAIN, WORN_OUT))
    ratios = np.maximum(rows.wear[plain], 0.02 * budget) / rows.kg[plain].sum(axis=1)
    return float(np.log(np.median(ratios)))


def _answer(record: TypeRecord, rows: Rows, post: Posterior, budget: float, informed: bool) -> TypeFit:
    crops = record.crops
    z = nodes(crops, RATE_CASES)
    away = z @ np.linalg.cholesky(post.covariance).T
    rates = np.exp(post.log_rates + away)
    own_z = nodes(2, OWN_CASES)
    everyone = "fleet" if informed else "expected_life"

    def scenarios(mean: Floats, covariance: Floats, kg: Floats) -> Scenarios:
        # mean (G, 2) and covariance (2, 2) of log multiplier and shift.
        root = _root(covariance)
        own = mean[:, None, :] + own_z @ root.T
        theta = np.exp(own[:, :, 0])
        progress = rates @ kg
        needed = (budget - own[:, :, 1]) / theta - progress[:, None]
        wear = theta * progress[:, None] + own[:, :, 1]
        return Scenarios(rates=rates, needed=needed, wear_now=wear, multiplier=theta)

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
    variance = post.spread**2 + post.life_spread**2
    fresh = scenarios(np.zeros((RATE_CASES, 2)), np.diag([variance, 0.0]), np.zeros(crops))
    return TypeFit(
        key=record.key,
        rates=tuple(Quantiles.of(rates[:, crop]) for crop in range(crops)),
        gauge_sd=post.gauge_sd,
        spread=post.spread,
        edges=edges,
        new_edge=_edge(None, everyone, fresh),
    )


def _root(covariance: Floats) -> Floats:
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def _edge(key: object, basis: str, cases: Scenarios) -> EdgeFit:
    return EdgeFit(
        key=key,
        basis=basis,
        now=Quantiles.of(cases.wear_now.ravel()),
        multiplier=Quantiles.of(cases.multiplier.ravel()),
        scenarios=cases,
    )
