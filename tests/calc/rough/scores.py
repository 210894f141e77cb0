"""How good the forecasts of a kind of mills were, with intervals over mills.

The interval score of a range from l to u that should hold the day x with probability 1 - a is

    (u - l) + 2 / a * max(l - x, 0) + 2 / a * max(x - u, 0),

here in days with a = 0.2: the width, and ten times the days by which x lies outside (Gneiting and Raftery,
"Strictly proper scoring rules, prediction, and estimation", JASA 102, 2007, equation 43). Lower is better. A
range that is missing counts as 400.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tests.calc.rough.cases import ALONE, FORECAST, KNOWN, ORACLE, PLAIN, Case
from tests.calc.rough.plain.path import Days

OUTSIDE = 10.0
MISSING = 400.0
RESAMPLES = 1000
SCORED = (FORECAST, *PLAIN, KNOWN, ALONE)


def interval_score(said: Days | None, came: int) -> float:
    if said is None:
        return MISSING
    early, _, late = said
    return late - early + OUTSIDE * (max(early - came, 0) + max(came - late, 0))


@dataclass(frozen=True)
class Sums:
    """Sums over the cases of each mill, so that mills can be drawn again; each of shape (mills,), and of
    `scores` (mills, methods)."""

    cases: np.ndarray
    missing: np.ndarray
    held: np.ndarray
    before: np.ndarray
    error: np.ndarray
    error_oracle: np.ndarray
    error_forecast_beside_lumped: np.ndarray
    error_lumped: np.ndarray
    scores: np.ndarray

    @classmethod
    def of(cls, mills: Sequence[Sequence[Case]]) -> Sums:
        return cls(*(np.array(column) for column in zip(*map(_sums_of, mills), strict=True)))

    def drawn(self, index: np.ndarray) -> Sums:
        return Sums(*(column[index] for column in vars(self).values()))


def _sums_of(cases: Sequence[Case]) -> tuple[object, ...]:
    got = [(case.said[FORECAST], case) for case in cases]
    ranged = [(said, case) for said, case in got if said is not None]
    oracle, lumped = _beside(ranged, ORACLE), _beside(ranged, "lumped")
    return (
        len(cases),
        len(cases) - len(ranged),
        sum(said[0] <= case.came <= said[2] for said, case in ranged),
        sum(case.came < said[0] for said, case in ranged),
        *(sum(errors) for errors in zip(*oracle, strict=True)),
        *(sum(errors) for errors in zip(*lumped, strict=True)),
        [sum(interval_score(case.said[name], case.came) for case in cases) for name in SCORED],
    )


def _beside(ranged: Sequence[tuple[Days, Case]], other: str) -> list[tuple[int, int]]:
    """The errors of the forecast and of another method where both say something; begins with none."""
    found = [(0, 0)]
    for said, case in ranged:
        theirs = case.said[other]
        if theirs is not None:
            found.append((abs(said[1] - case.came), abs(theirs[1] - case.came)))
    return found


@dataclass(frozen=True)
class Found:
    """value, and the 5 and 95 % points of what it would be for other mills of the kind (bootstrap: mills are
    drawn again with replacement)."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Result:
    """coverage: share of the ranges that held. before: share of the limits that came before the range.
    against_oracle, against_lumped: mean error over that of these. score: mean interval score. best: the plain
    method with the lowest. against_best: score over its. against_known: score
    over that of the kind's own process."""

    kind: str
    mills: int
    cases: int
    missing: int
    coverage: Found
    before: Found
    against_oracle: Found
    against_lumped: Found
    score: Found
    best: str
    best_score: float
    against_best: Found
    against_known: Found
    scores: dict[str, float]


def result(kind: str, mills: Sequence[Sequence[Case]]) -> Result:
    sums = Sums.of(mills)
    chance = np.random.default_rng(0)
    count = len(mills)
    again = [sums.drawn(chance.integers(0, count, count)) for _ in range(RESAMPLES if count > 1 else 0)]

    def found(of: Callable[[Sums], float]) -> Found:
        drawn = [of(one) for one in again if one.cases.sum() > one.missing.sum()] or [of(sums)]
        low, high = np.quantile(drawn, [0.05, 0.95]).tolist()
        return Found(of(sums), low, high)

    total = sums.scores.sum(axis=0)
    best = 1 + int(total[1:-2].argmin())
    return Result(
        kind=kind,
        mills=count,
        cases=int(sums.cases.sum()),
        missing=int(sums.missing.sum()),
        coverage=found(lambda one: _ratio(one.held.sum(), one.cases.sum() - one.missing.sum())),
        before=found(lambda one: _ratio(one.before.sum(), one.cases.sum() - one.missing.sum())),
        against_oracle=found(lambda one: _ratio(one.error.sum(), one.error_oracle.sum())),
        against_lumped=found(
            lambda one: _ratio(one.error_forecast_beside_lumped.sum(), one.error_lumped.sum())
        ),
        score=found(lambda one: _ratio(one.scores[:, 0].sum(), one.cases.sum())),
        best=SCORED[best],
        best_score=_ratio(total[best], sums.cases.sum()),
        against_best=found(lambda one: _ratio(one.scores[:, 0].sum(), one.scores[:, 1:-2].sum(axis=0).min())),
        against_known=found(lambda one: _ratio(one.scores[:, 0].sum(), one.scores[:, -2].sum())),
        scores={name: _ratio(one, sums.cases.sum()) for name, one in zip(SCORED, total, strict=True)},
    )


def _ratio(above: float, below: float) -> float:
    return float(above / below) if below > 0 else float("nan")
