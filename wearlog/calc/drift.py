"""Detects a falling throughput: EWMA and CUSUM charts, and throughput compared within classes of runs.

EWMA: z_i = weight * x_i + (1 - weight) * z_(i-1), z_0 = target, with limits target -+ width * s_i and

    s_i = sd * sqrt(weight / (2 - weight) * (1 - (1 - weight)^(2 i)))

Tabular CUSUM: high_i = max(0, high_(i-1) + x_i - target - slack), low_i the same downwards.
A chart signals strictly beyond its limit. A missing value (nan) is skipped: the sum or average stays as it
was and the count i does not advance. A standard deviation of 0 is refused, since no limit can be set with it.
Source: NIST/SEMATECH e-Handbook 6.3.2.3 and 6.3.2.4.

Throughput (`throughput_drift`): kilograms per hour are compared only within a class (same press, crop, die
size, speed band, moisture class). The first runs of each class after the work that resets the baseline are
its baseline. The logarithms of later runs, less the mean of their class, go into one EWMA with target 0. Its
standard deviation is pooled over the baselines and includes the uncertainty of a mean of few runs: with v_j
the weights of the runs in the average and V_c their sum in class c, which has n_c baseline runs,

    s_i^2 = sd^2 * (sum_j v_j^2 + sum_c V_c^2 / n_c)

The limit uses Student's t with the baselines' degrees of freedom at the same tail probability as `width`. The
chart signals where the average lies strictly below its limit and the loss is at least `least_loss`. With too
few runs the state is `unknown`, with the reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from scipy import linalg

from wearlog.calc import quantiles

Floats = npt.NDArray[np.float64]

CAUSES: Final = ("seed", "settings", "fouling", "wear")
"""In the order in which millers check them: seed first, wear last."""

BASELINE_RUNS: Final = 8
LEAST_LOSS: Final = 0.05
WEIGHT: Final = 0.2
WIDTH: Final = 3.0


@dataclass(frozen=True, eq=False)
class Ewma:
    """An EWMA chart: shape (n,) each, nan at gaps. `alarms` are indexes (from 0) strictly beyond a limit."""

    ewma: Floats
    sd: Floats
    lower: Floats
    upper: Floats
    steady_lower: float
    steady_upper: float
    alarms: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Cusum:
    """Sums upwards and downwards, shape (n,), nan at gaps; `alarms` are indexes (from 0) beyond the limit."""

    high: Floats
    low: Floats
    alarms: tuple[int, ...]


def _refuse_unusable(weight: float, width: float, sd: float) -> None:
    if not 0 < weight <= 1:
        raise ValueError("The weight must lie above 0 and at most at 1.")
    if not (np.isfinite(width) and width > 0):
        raise ValueError("The width of the limits must be above 0.")
    if not (np.isfinite(sd) and sd > 0):
        raise ValueError("The standard deviation must be above 0: nothing can be judged by one of 0.")


def _average(values: Floats, weight: float, start: float) -> Floats:
    """The EWMA, shape (n,), of values (n,) without gaps, starting from `start`."""
    weighted = weight * values
    weighted[:1] += (1 - weight) * start
    return _carried_on(weighted, 1 - weight)


def _carried_on(values: Floats, kept: float) -> Floats:
    """y_i = x_i + kept * y_(i-1) along the last axis of values (..., n), from 0 on. Solved as a system of two
    bands, exactly in this order: the filters of `scipy.signal` do the same, and take half a second to load,
    which every command and every worker would wait for."""
    count = values.shape[-1]
    if count < 2:
        return values
    bands = np.ones((2, count))
    bands[1] = -kept
    solved: Floats = linalg.solve_banded((1, 0), bands, values.T, check_finite=False).T
    return solved


def ewma(
    values: npt.ArrayLike, *, target: float, sd: float, weight: float = WEIGHT, width: float = WIDTH
) -> Ewma:
    """The EWMA chart of values (n,), nan where one is missing. Raises ValueError for unusable arguments."""
    _refuse_unusable(weight, width, sd)
    x = np.asarray(values, dtype=np.float64)
    if np.any(np.isinf(x)) or not np.isfinite(target):
        raise ValueError("Values and target must be finite numbers.")
    there = ~np.isnan(x)
    order = np.arange(1, int(there.sum()) + 1)
    chart, spread = np.full(x.shape, np.nan), np.full(x.shape, np.nan)
    chart[there] = _average(x[there], weight, target)
    steady = sd * np.sqrt(weight / (2 - weight))
    spread[there] = steady * np.sqrt(1 - (1 - weight) ** (2 * order))
    lower, upper = target - width * spread, target + width * spread
    with np.errstate(invalid="ignore"):
        beyond = (chart < lower) | (chart > upper)
    return Ewma(
        chart,
        spread,
        lower,
        upper,
        float(target - width * steady),
        float(target + width * steady),
        tuple(int(place) for place in np.flatnonzero(beyond)),
    )


def cusum(values: npt.ArrayLike, *, target: float, slack: float, limit: float) -> Cusum:
    """The tabular CUSUM of values (n,), nan where one is missing. `slack` and `limit` are in the unit of the
    values. Raises ValueError for a negative slack or a limit that is not above 0."""
    if not (slack >= 0 and limit > 0):
        raise ValueError("The slack must not be negative, and the limit must be above 0.")
    x = np.asarray(values, dtype=np.float64)
    there = ~np.isnan(x)
    sums = []
    for sign in (1.0, -1.0):
        steps = np.cumsum(sign * (x[there] - target) - slack)
        # The recursion max(0, s + step) equals the cumulative sum less its lowest value so far.
        column = np.full(x.shape, np.nan)
        column[there] = steps - np.minimum(np.minimum.accumulate(steps), 0.0) if steps.size else steps
        sums.append(column)
    with np.errstate(invalid="ignore"):
        beyond = (sums[0] > limit) | (sums[1] > limit)
    return Cusum(sums[0], sums[1], tuple(int(place) for place in np.flatnonzero(beyond)))


@dataclass(frozen=True, eq=False)
class ThroughputDrift:
    """How the throughput of a press has changed since its baseline.

    `state`: `falling` where the last average lies beyond its limit, `steady`, or `unknown` with `reason`.
    `loss` is the fraction of the output that is missing now (0.12: 12 % less; negative: more), None where
    unknown. `since` is the index of the run at which the present signal began. `causes` are what to check,
    in order, empty unless falling. `average` and `limit` are logarithms, shape (n,), nan where a run was not
    judged (baseline, gap). `judged` is the number of judged runs.
    """

    state: Literal["falling", "steady", "unknown"]
    reason: str
    loss: float | None
    since: int | None
    causes: tuple[str, ...]
    average: Floats
    limit: Floats
    judged: int


def throughput_drift(
    kg_per_h: npt.ArrayLike,
    class_of_run: npt.ArrayLike,
    *,
    baseline_runs: int = BASELINE_RUNS,
    weight: float = WEIGHT,
    width: float = WIDTH,
    least_loss: float = LEAST_LOSS,
) -> ThroughputDrift:
    """Judge the runs since the work that reset the baseline, in order of time, shape (n,).

    `class_of_run` numbers the class of each run (any integers). A run without a rate (nan, or not above 0) is
    a gap. The caller must leave out runs whose class is not known. Raises ValueError for unusable arguments.
    """
    if baseline_runs < 2:
        raise ValueError("A baseline needs at least two runs.")
    _refuse_unusable(weight, width, 1.0)
    rate, group = np.asarray(kg_per_h, dtype=np.float64), np.asarray(class_of_run, dtype=np.int64)
    if rate.shape != group.shape or rate.ndim != 1:
        raise ValueError("Rates and classes must be lists of the same length.")
    blank = np.full(rate.shape, np.nan)

    def unknown(reason: str) -> ThroughputDrift:
        return ThroughputDrift("unknown", reason, None, None, (), blank, blank.copy(), 0)

    usable = np.flatnonzero(np.isfinite(rate) & (rate > 0))
    if usable.size == 0:
        return unknown("no run with a throughput yet")
    log_rate = np.log(rate[usable])
    _classes, member = np.unique(group[usable], return_inverse=True)
    place = _place_in_class(member)
    first = place < baseline_runs
    size = np.bincount(member, minlength=int(member.max()) + 1)
    full = size >= baseline_runs
    settled = first & full[member]
    if not settled.any():
        most = int(size.max())
        return unknown(f"at most {most} runs in one class, {baseline_runs} make a baseline")
    mean = np.bincount(member[settled], weights=log_rate[settled], minlength=size.size) / baseline_runs
    freedom = int(full.sum()) * (baseline_runs - 1)
    sd = float(np.sqrt(np.sum((log_rate[settled] - mean[member[settled]]) ** 2) / freedom))
    if sd <= 1e-9:  # of a logarithm: a billionth of the rate
        return unknown(
            "all baseline runs have the same throughput to the last digit: it can't be a measured one"
        )
    judged = np.flatnonzero(~first & full[member])
    if judged.size == 0:
        return unknown("no run after the baseline yet")

    residual = log_rate[judged] - mean[member[judged]]
    average = _average(residual, weight, 0.0)
    one_sided = -quantiles.student(quantiles.above_normal(width), freedom)
    spread = sd * np.sqrt(_variance(member[judged], size.size, baseline_runs, weight))
    limit = -one_sided * spread
    beyond = (average < limit) & (average < np.log1p(-least_loss))

    full_average, full_limit = blank, blank.copy()
    full_average[usable[judged]], full_limit[usable[judged]] = average, limit
    loss = float(-np.expm1(average[-1]))
    if not beyond[-1]:
        return ThroughputDrift("steady", "", loss, None, (), full_average, full_limit, judged.size)
    quiet = np.flatnonzero(~beyond)
    began = int(quiet[-1]) + 1 if quiet.size else 0
    since = int(usable[judged[began]])
    return ThroughputDrift("falling", "", loss, since, CAUSES, full_average, full_limit, judged.size)


def _place_in_class(member: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """For each run, the number of earlier runs of its class."""
    order = np.argsort(member, kind="stable")
    starts = np.searchsorted(member[order], member[order], side="left")
    place = np.empty(member.size, dtype=np.int64)
    place[order] = np.arange(member.size) - starts
    return place


def _variance(member: npt.NDArray[np.int64], classes: int, baseline_runs: int, weight: float) -> Floats:
    """The variance of the average at each run, relative to that of one run: from the scatter of the runs and
    from the uncertainty of the baselines."""
    steps = np.arange(1, member.size + 1)
    own = weight / (2 - weight) * (1 - (1 - weight) ** (2 * steps))
    of_class = np.zeros((classes, member.size))
    of_class[member, np.arange(member.size)] = weight
    shares = _carried_on(of_class, 1 - weight)
    total: Floats = own + np.sum(shares**2, axis=0) / baseline_runs
    return total
