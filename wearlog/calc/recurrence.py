"""Recurring work, such as polishing, unplugging or cleaning: is it needed more often as time goes on?

Input: units (a screw, a press), each observed from age 0 to its end of observation, with the ages of its
events. Ages are in hours, kilograms or days. Several events may share an age; a unit whose observation ends
at an age still counts as observed there. Observation ends at a set age ("time") or with the last event
("failure").

- `mean_cumulative`: the mean number of events per unit up to each event age, and its variance by Lawless &
  Nadeau (1995): sum over units of (sum over ages of (d_i(t) - dbar(t)) / n(t))^2, which allows for
  correlation between the events of one unit. `independent_variance` adds d (n - 1) / n^3 for d events among n
  units, as if events were independent, like some programs print; it is too large or too small, and given for
  comparison only. With a single unit there is a mean function but no variance.
- `laplace`: pooled over units, z = (sum of ages - sum of n_i T_i / 2) / sqrt(sum of n_i T_i^2 / 12); with
  failure termination each unit's last event is left out and ends the observation. z > 0: ever more often.
- `power_law`: expected events of a unit = rate * age^shape (Crow, AMSAA) by maximum likelihood over units.
  The shape's limits are exact (chi-square) where all units end at one age, else likelihood-ratio; the rate's
  are likelihood-ratio limits. Below two events there is no shape.
- `event_rate`: events over total age, with exact chi-square limits; without an event the rate is below
  -ln(0.05) / T = 3.0 / T.
- `trend_tests`, `modified_power_law`: reversal count, the handbook's chi-square, and the bias-corrected
  estimate with its limits of the mean time at the end (NIST/SEMATECH e-Handbook 8.2.3.4 and 8.4.5.2).

Source: as named; MIL-HDBK-189, appendix C, for the goodness of fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from scipy import special

from wearlog.calc import quantiles, roots
from wearlog.calc.life import UNKNOWN, Limits

Floats = npt.NDArray[np.float64]
Termination = Literal["time", "failure"]


@dataclass(frozen=True, eq=False)
class Unit:
    """The sorted event ages of one unit, shape (n,), and the age at which its observation ended."""

    events: Floats
    end: float


def unit(events: Sequence[float], end: float | None = None) -> Unit:
    """A unit from its event ages in any order. Without `end` the last event ends the observation. Raises
    ValueError for an event after the end, a negative age, or neither events nor end."""
    ages = np.sort(np.asarray(events, dtype=np.float64))
    if end is None:
        if ages.size == 0:
            raise ValueError("A unit without events needs the end of its observation.")
        end = float(ages[-1])
    if not np.all(np.isfinite(ages)) or np.any(ages < 0) or not (np.isfinite(end) and end > 0):
        raise ValueError("Event ages must be finite and not negative, the end of observation above 0.")
    if ages.size and ages[-1] > end:
        raise ValueError(f"An event at {ages[-1]:g} lies after the end of observation at {end:g}.")
    return Unit(ages, end)


@dataclass(frozen=True)
class MeanPoint:
    age: float
    value: float
    variance: float | None
    independent_variance: float
    at_risk: int


def mean_cumulative(units: Sequence[Unit]) -> list[MeanPoint]:
    """The mean cumulative function at each event age, in order of age; empty without events."""
    ages = np.unique(np.concatenate([each.events for each in units])) if units else np.zeros(0)
    if ages.size == 0:
        return []
    ends = np.array([each.end for each in units])
    under = ends[:, None] >= ages  # (units, ages)
    counts = np.zeros(under.shape)
    for row, each in enumerate(units):
        np.add.at(counts[row], np.searchsorted(ages, each.events), 1.0)
    at_risk = under.sum(axis=0)
    mean = counts.sum(axis=0) / at_risk
    rest = np.where(under, counts - mean, 0.0) / at_risk
    robust = np.sum(np.cumsum(rest, axis=1) ** 2, axis=0)
    independent = np.cumsum(mean * (at_risk - 1) / at_risk**2)
    value = np.cumsum(mean)
    return [
        MeanPoint(
            float(ages[place]),
            float(value[place]),
            float(robust[place]) if len(units) > 1 else None,
            float(independent[place]),
            int(at_risk[place]),
        )
        for place in range(ages.size)
    ]


def mean_range(point: MeanPoint, *, confidence: float = 0.95) -> Limits:
    """Limits of the mean function at an age, symmetric in the logarithm; unknown for a single unit."""
    if point.variance is None:
        return UNKNOWN
    z = quantiles.normal((1 + confidence) / 2)
    reach = float(np.exp(z * np.sqrt(point.variance) / point.value))
    return Limits(point.value / reach, point.value * reach)


def _spans(units: Sequence[Unit], terminated: Termination) -> list[Unit]:
    """The units as trend tests need them: with failure termination the last event becomes the end of the
    observation and no longer counts as an event."""
    if terminated == "time":
        return list(units)
    return [Unit(each.events[:-1], float(each.events[-1])) for each in units if each.events.size]


def laplace(units: Sequence[Unit], *, terminated: Termination = "time") -> float | None:
    """The pooled Laplace statistic, approximately standard normal without a trend; None without events."""
    spans = _spans(units, terminated)
    events = sum(each.events.size for each in spans)
    if events == 0:
        return None
    total = sum(float(each.events.sum()) - each.events.size * each.end / 2 for each in spans)
    variance = sum(each.events.size * each.end**2 / 12 for each in spans)
    return float(total / np.sqrt(variance))


@dataclass(frozen=True)
class PowerLaw:
    """`shape` and `rate` are None where no trend can be fitted; `reason` then says why.

    A shape above 1 means that the work is needed ever more often. `limits` says which kind the limits of the
    shape are."""

    events: int
    shape: float | None
    shape_range: Limits
    rate: float | None
    rate_range: Limits
    limits: Literal["exact", "likelihood ratio", "none"]
    reason: str

    def intensity(self, age: float) -> float | None:
        """Events per unit of age at an age."""
        if self.shape is None or self.rate is None:
            return None
        return float(self.rate * self.shape * age ** (self.shape - 1))


def power_law(
    units: Sequence[Unit], *, terminated: Termination = "time", confidence: float = 0.95
) -> PowerLaw:
    """Fit expected events = rate * age^shape to all units together. Raises ValueError for an event at age
    0."""
    events = sum(each.events.size for each in units)
    if any(np.any(each.events == 0) for each in units):
        raise ValueError("An event at age 0 can't be part of a power law: give ages above 0.")
    spans = _spans(units, terminated)
    inner = sum(each.events.size for each in spans)
    pull = float(sum(np.sum(np.log(each.end / each.events)) for each in spans))
    if events < 2 or inner == 0 or pull <= 0:
        few = "no event" if events == 0 else "one event" if events == 1 else "all events at the end"
        return PowerLaw(events, None, UNKNOWN, None, UNKNOWN, "none", f"{few}: no trend can be fitted")
    ends = np.array([each.end for each in spans if each.end > 0])
    log_ends = np.log(ends)
    top = float(log_ends.max())
    log_sum = float(sum(np.sum(np.log(each.events)) for each in units))
    curve = _Curve(log_ends - top, events, log_sum - events * top)
    shape = curve.best()
    rate = float(np.exp(curve.log_rate(shape) - shape * top))
    tail = (1 - confidence) / 2
    c = quantiles.chi_square(confidence, 1) / 2
    low, high = curve.limits(shape, c)
    kind: Literal["exact", "likelihood ratio"] = "likelihood ratio"
    exact = UNKNOWN
    if np.ptp(ends) <= 1e-12 * ends.max():
        # 2 shape * pull is chi-square with two degrees of freedom for each event that is not an end.
        exact = Limits(
            quantiles.chi_square(tail, 2 * inner) / (2 * pull),
            quantiles.chi_square(1 - tail, 2 * inner) / (2 * pull),
        )
        kind = "exact"
    rates = [np.exp(edge) for edge in curve.rate_limits(low, shape, high, c, top)]
    return PowerLaw(
        events,
        shape,
        exact if kind == "exact" else Limits(low, high),
        rate,
        Limits(float(rates[0]), float(rates[1])),
        kind,
        "",
    )


class _Curve:
    """The profile log-likelihood of the shape b, with ends and events scaled by the greatest end:
    N ln b - N ln sum(exp(b v)) + b * sum of ln events, v = ln(end / greatest) <= 0."""

    def __init__(self, v: Floats, events: int, log_events: float) -> None:
        self.v, self.n, self.log_events = v, events, log_events

    def log_rate(self, b: float) -> float:
        """ln of the rate of greatest likelihood for the shape b, in the scaled age."""
        return float(np.log(self.n) - np.log(np.exp(b * self.v).sum()))

    def profile(self, b: float) -> float:
        return float(self.n * (np.log(b) - np.log(np.exp(b * self.v).sum())) + b * self.log_events)

    def score(self, b: float) -> float:
        """The derivative of the profile log-likelihood; it decreases in b."""
        power = np.exp(b * self.v)
        return float(self.n / b - self.n * (power @ self.v) / power.sum() + self.log_events)

    def best(self) -> float:
        low = high = -self.n / self.log_events
        while self.score(low) < 0:
            low /= 2
        while self.score(high) > 0:
            high *= 2
        return roots.between(low, high, self.score, within=1e-300) if low < high else low

    def limits(self, b: float, c: float) -> tuple[float, float]:
        floor = self.profile(b) - c

        def above(log_b: float) -> float:
            return self.profile(float(np.exp(log_b))) - floor

        middle, ends = float(np.log(b)), []
        for sign in (-1.0, 1.0):
            reach = sign * (2 * c / self.n) ** 0.5
            while above(middle + reach) > 0:
                reach *= 1.5
            near, far = sorted((middle, middle + reach))
            ends.append(float(np.exp(roots.between(near, far, above, within=1e-13))))
        return ends[0], ends[1]

    def rate_limits(self, low: float, b: float, high: float, c: float, top: float) -> tuple[float, float]:
        """ln of the least and the greatest rate on the likelihood's contour, in the unscaled age."""
        from scipy import optimize  # here, since it takes long to load (`roots.py`)

        peak = self.profile(b)

        def edge(log_b: float, branch: int) -> float:
            shape = float(np.exp(log_b))
            gain = max(0.0, (self.profile(shape) - peak + c) / self.n)
            # exp(z) - 1 - z = gain has a root below 0 (Lambert's W, branch 0) and one above 0 (branch -1).
            z = -1 - gain - float(special.lambertw(-np.exp(-1 - gain), branch).real)
            return self.log_rate(shape) - shape * top + z

        found = []
        for sign, branch in ((1.0, 0), (-1.0, -1)):
            best = optimize.minimize_scalar(
                lambda x, sign=sign, branch=branch: sign * edge(x, branch),
                bounds=(np.log(low), np.log(high)),
                method="bounded",
                options={"xatol": 1e-10},
            )
            found.append(sign * float(best.fun))
        return found[0], found[1]


@dataclass(frozen=True)
class EventRate:
    """Events per unit of age over all units. Without an event `rate` and `low` are 0."""

    events: int
    age: float
    rate: float
    low: float
    high: float


def event_rate(units: Sequence[Unit], *, confidence: float = 0.95) -> EventRate:
    """The event rate with exact chi-square limits; without an event, the upper limit takes the whole
    confidence. Raises ValueError without a unit."""
    if not units:
        raise ValueError("There is no unit to count events of.")
    n, age = sum(each.events.size for each in units), sum(each.end for each in units)
    if n == 0:
        return EventRate(0, age, 0.0, 0.0, -float(np.log1p(-confidence)) / age)
    tail = (1 - confidence) / 2
    low = quantiles.chi_square(tail, 2 * n) / (2 * age)
    return EventRate(n, age, n / age, low, quantiles.chi_square(1 - tail, 2 * n + 2) / (2 * age))


@dataclass(frozen=True)
class TrendTests:
    """Trend tests of one unit observed to a set age. A small `p_upper` means that events become rarer."""

    reversals: int
    most_reversals: int
    laplace_z: float
    laplace_p: float
    chi_square: float
    freedom: int
    p_upper: float


def trend_tests(one: Unit) -> TrendTests:
    """Reversals of the gaps between events, Laplace, and the handbook's chi-square. Raises ValueError without
    an event."""
    z = laplace([one])
    if z is None:
        raise ValueError("A trend needs at least one event.")
    gaps = np.diff(one.events, prepend=0.0)
    reversals = sum(1 for before, after in combinations(gaps.tolist(), 2) if before < after)
    n = one.events.size
    chi_square = 2 * float(np.sum(np.log(one.end / one.events)))
    return TrendTests(
        reversals,
        n * (n - 1) // 2,
        z,
        2 * quantiles.above_normal(abs(z)),
        chi_square,
        2 * n,
        quantiles.above_chi_square(chi_square, 2 * n),
    )


@dataclass(frozen=True)
class ModifiedPowerLaw:
    """Bias-corrected power law of one unit observed to a set age, with the mean time between events there."""

    shape: float
    growth: float
    rate: float
    mean_time: float
    mean_time_range: Limits
    cramer_von_mises: float


LEAST_FOR_MODIFIED: Final = 3


def modified_power_law(one: Unit, *, confidence: float = 0.8) -> ModifiedPowerLaw | None:
    """Shape (n-1) / sum ln(T/t), and limits of the mean time by the handbook's normal approximation; the
    upper limit is None where there are too few events for the formula. None below three events."""
    n = one.events.size
    if n < LEAST_FOR_MODIFIED:
        return None
    shape = (n - 1) / float(np.sum(np.log(one.end / one.events)))
    rate = n / one.end**shape
    mean_time = one.end ** (1 - shape) / (rate * shape)
    z = quantiles.normal((1 + confidence) / 2)
    wide = n + z**2 / 4 + (n * z**2 / 2 + z**4 / 16) ** 0.5
    narrow = n - (n / 2) ** 0.5 * z
    share = n * (n - 1)
    place = (2 * np.arange(1, n + 1) - 1) / (2 * n)
    misfit = 1 / (12 * n) + float(np.sum(((one.events / one.end) ** shape - place) ** 2))
    high = mean_time * share / narrow**2 if narrow > 0 else None
    return ModifiedPowerLaw(
        shape, 1 - shape, rate, mean_time, Limits(mean_time * share / wide**2, high), misfit
    )
