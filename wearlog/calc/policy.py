"""When work pays: age replacement, stopping a worn part, mending or buying, dies for a season, ordering.

- `replacement`: age replacement with a Weibull life. A part is changed at age T for the planned cost or at
  its failure for the failure cost, whichever comes first; the cost per unit of age is

      C(T) = (planned R(T) + failure F(T)) / integral of R from 0 to T

  and is least where h(T) * integral of R - F(T) = planned / (failure - planned), with h the hazard. The
  integral is an incomplete gamma function, so that this is a single bracketed root. Advice is withheld
  (`best_age` None, with the reason) where the shape, or the lower limit of its range, is not above 1 (parts
  that fail by chance gain nothing from early replacement), where a failure costs no more than planned work,
  or where the saving is below 5 %.
- `replacement_of`: the same for any life given by its survival and hazard functions.
- `stop_rule`: a worn part should be stopped when its loss per tonne now (oil left in the cake, slower
  pressing) exceeds the average cost per tonne so far of part, work and losses. Oil per kilogram of seed is
  1 - (1 - o) / (1 - r), o oil in seed, r oil in cake, both as fractions.
- `mend_or_buy`: the way with the lowest (price + cost of the stand-still) per expected tonne.
- `dies_to_make`: planned tonnes over a pessimistic edge life, less what is on the shelf, plus one per press.
- `order_by`: the early date less lead time and margin.

Costs in the mill's one currency; ages in hours, kilograms or tonnes. Source: age replacement is Barlow and
Hunter 1960 (from memory); the stop rule is the average-cost rule of the trade (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from scipy import special

from wearlog.calc import roots

LEAST_SAVING: Final = 0.05


@dataclass(frozen=True)
class Replacement:
    """`best_age` is None where advice is withheld, and `reason` says why. `cost_rate` is the least cost per
    unit of age with planned replacement (or the cost of running to failure, where no planned age is best);
    `saving` is the fraction of the run-to-failure cost that it saves."""

    best_age: float | None
    cost_rate: float
    run_to_failure_cost: float
    saving: float
    reason: str


def _check_costs(planned_cost: float, failure_cost: float) -> None:
    if not (
        math.isfinite(planned_cost) and math.isfinite(failure_cost) and planned_cost > 0 and failure_cost > 0
    ):
        raise ValueError("Costs must be finite and above 0.")


def _unless_saving_is_small(age: float, rate: float, to_failure: float, least_saving: float) -> Replacement:
    saving = max(0.0, 1 - rate / to_failure)
    if saving < least_saving:
        why = f"planned replacement would save only {100 * saving:.1f} %: no more than the figures can bear"
        return Replacement(None, rate, to_failure, saving, why)
    return Replacement(age, rate, to_failure, saving, "")


def replacement(
    *,
    shape: float,
    scale: float,
    planned_cost: float,
    failure_cost: float,
    shape_low: float | None = None,
    least_saving: float = LEAST_SAVING,
) -> Replacement:
    """The replacement age of least cost for a Weibull life. `shape_low` is the lower limit of the shape's
    range, where one is known. Raises ValueError for a shape, scale or cost that is not finite and above 0."""
    if not (math.isfinite(shape) and math.isfinite(scale) and shape > 0 and scale > 0):
        raise ValueError("Shape and scale must be finite and above 0.")
    _check_costs(planned_cost, failure_cost)
    to_failure = failure_cost / (scale * float(special.gamma(1 + 1 / shape)))

    def withheld(reason: str) -> Replacement:
        return Replacement(None, to_failure, to_failure, 0.0, reason)

    if shape <= 1:
        return withheld(
            "the shape is not above 1: such parts fail by chance, and changing them early saves nothing"
        )
    if shape_low is not None and shape_low <= 1:
        return withheld(
            "the shape's range includes 1: the parts may fail by chance, which early changes don't help"
        )
    if failure_cost <= planned_cost:
        return withheld("a failure costs no more than planned work: run to failure")
    goal = planned_cost / (failure_cost - planned_cost)

    def over(log_x: float) -> float:
        """Increases with age, is 0 at the best age and -goal at age 0; x is age / scale."""
        x = math.exp(log_x)
        power = x**shape
        worked = float(special.gamma(1 + 1 / shape) * special.gammainc(1 / shape, power))
        return float(shape * x ** (shape - 1) * worked + math.expm1(-power) - goal)

    low = high = 0.0
    while over(low) > 0:
        low -= 1.0
    while over(high) < 0:
        high += 1.0
        if high > 300 / shape:  # beyond any age that a part reaches
            return withheld("the best age lies beyond any age that a part reaches: run to failure")
    x = math.exp(roots.between(low, high, over, within=1e-15) if low < high else low)
    rate = (failure_cost - planned_cost) * shape / scale * x ** (shape - 1)
    return _unless_saving_is_small(x * scale, rate, to_failure, least_saving)


def cost_rate(
    age: float, survival: Callable[[np.ndarray], np.ndarray], planned_cost: float, failure_cost: float
) -> float:
    """Cost per unit of age of replacing at `age`, for any survival function that is smooth on [0, age].
    Raises ValueError for costs that are not finite and above 0."""
    _check_costs(planned_cost, failure_cost)
    left = float(survival(np.array([age]))[0])
    return (planned_cost * left + failure_cost * (1 - left)) / _worked(age, survival)


def _worked(age: float, survival: Callable[[np.ndarray], np.ndarray]) -> float:
    """The integral of the survival function from 0 to the age, by Gauss-Legendre quadrature."""
    nodes, weights = np.polynomial.legendre.leggauss(128)
    return float(age / 2 * np.sum(weights * survival(age / 2 * (nodes + 1))))


def replacement_of(
    *,
    survival: Callable[[np.ndarray], np.ndarray],
    hazard: Callable[[float], float],
    greatest_age: float,
    planned_cost: float,
    failure_cost: float,
    least_saving: float = LEAST_SAVING,
) -> Replacement:
    """The replacement age of least cost for a life that ends by `greatest_age` and whose hazard rises. Raises
    ValueError for costs that are not finite and above 0."""
    _check_costs(planned_cost, failure_cost)
    to_failure = failure_cost / _worked(greatest_age, survival)
    if failure_cost <= planned_cost:
        return Replacement(
            None, to_failure, to_failure, 0.0, "a failure costs no more than planned work: run to failure"
        )
    goal = planned_cost / (failure_cost - planned_cost)

    def over(age: float) -> float:
        return hazard(age) * _worked(age, survival) - 1 + float(survival(np.array([age]))[0]) - goal

    low, high = greatest_age * 1e-9, greatest_age * (1 - 1e-9)
    if over(low) > 0 or over(high) < 0:
        return Replacement(
            None, to_failure, to_failure, 0.0, "no age within the life is the best one: run to failure"
        )
    age = roots.between(low, high, over, within=1e-12 * greatest_age)
    rate = cost_rate(age, survival, planned_cost, failure_cost)
    return _unless_saving_is_small(age, rate, to_failure, least_saving)


def oil_per_kg(seed_oil: float, cake_oil: float) -> float:
    """Kilograms of oil from one kilogram of seed: 1 - (1 - o) / (1 - r), both as fractions (0.42, not 42).

    Raises ValueError for other numbers, or where the cake would hold a greater fraction than the seed."""
    if not (0 < seed_oil < 1 and 0 <= cake_oil < 1):
        raise ValueError("Oil in seed and in cake are fractions between 0 and 1, as 0.42 and 0.12.")
    if cake_oil > seed_oil:
        raise ValueError("The cake can't hold a greater part of oil than the seed: check the two figures.")
    return 1 - (1 - seed_oil) / (1 - cake_oil)


@dataclass(frozen=True)
class StopAdvice:
    """`stop` is None where no advice is possible. Costs are per tonne of seed."""

    stop: bool | None
    loss_now: float | None
    average_so_far: float | None
    reason: str


def stop_rule(
    *,
    part_and_work_cost: float,
    losses_so_far: float,
    tonnes_so_far: float,
    lost_oil_kg_per_t: float,
    oil_price_per_kg: float,
    extra_h_per_t: float,
    hour_cost: float,
) -> StopAdvice:
    """Whether a worn part costs more per tonne now than it has on average. `lost_oil_kg_per_t` and
    `extra_h_per_t` compare now with a new part; negative values (better than new) count as no loss. Raises
    ValueError for costs, prices or tonnes that are negative or not finite."""
    values = (part_and_work_cost, losses_so_far, tonnes_so_far, oil_price_per_kg, hour_cost)
    if any(not math.isfinite(value) or value < 0 for value in values):
        raise ValueError("Costs, prices and tonnes must be finite and not negative.")
    if tonnes_so_far == 0:
        return StopAdvice(None, None, None, "no tonne has been pressed with this part yet")
    now = max(0.0, lost_oil_kg_per_t) * oil_price_per_kg + max(0.0, extra_h_per_t) * hour_cost
    average = (part_and_work_cost + losses_so_far) / tonnes_so_far
    if now > average:
        return StopAdvice(True, now, average, "a tonne now loses more than a tonne has cost on average")
    return StopAdvice(False, now, average, "a tonne now still loses less than a tonne has cost on average")


@dataclass(frozen=True)
class Choice:
    """A way to go on: its cost, and the tonnes it is expected to last (None: not known)."""

    name: str
    price: float
    stand_still_cost: float
    expected_tonnes: float | None


@dataclass(frozen=True)
class MendOrBuy:
    """The name of the cheaper way, or None with the reason; costs per expected tonne in the order given."""

    better: str | None
    cost_per_tonne: tuple[float | None, ...]
    reason: str


def mend_or_buy(*choices: Choice, least_saving: float = LEAST_SAVING) -> MendOrBuy:
    """Compare ways by (price + stand-still) / expected tonnes. Raises ValueError for fewer than two ways."""
    if len(choices) < 2:
        raise ValueError("Give at least two ways to compare.")
    costs = tuple(
        (way.price + way.stand_still_cost) / way.expected_tonnes
        if way.expected_tonnes is not None and way.expected_tonnes > 0
        else None
        for way in choices
    )
    unknown = [way.name for way, cost in zip(choices, costs, strict=True) if cost is None]
    if unknown:
        return MendOrBuy(None, costs, f"nothing is known of how long this lasts: {', '.join(unknown)}")
    ranked = sorted(zip(costs, choices, strict=True), key=lambda pair: pair[0] or 0.0)
    best, second = ranked[0][0] or 0.0, ranked[1][0] or 0.0
    if best > (1 - least_saving) * second:
        return MendOrBuy(None, costs, "they cost about the same per tonne: decide by what is at hand")
    return MendOrBuy(ranked[0][1].name, costs, "")


def dies_to_make(
    *, planned_t: float, edge_life_t: float, edges: int, left_on_shelf_t: float, presses: int
) -> int:
    """How many dies of one bore to make before a season. `edge_life_t` is a pessimistic life of one edge (a
    low quantile), `left_on_shelf_t` the remaining life of the dies at hand, `presses` the number of presses
    that run this bore. Raises ValueError for impossible numbers."""
    if edge_life_t <= 0 or edges < 1 or planned_t < 0 or left_on_shelf_t < 0 or presses < 0:
        raise ValueError("An edge's life must be above 0, a die has an edge, and tonnes are not negative.")
    short = max(0.0, planned_t - left_on_shelf_t)
    return math.ceil(round(short / (edge_life_t * edges), 9)) + presses


def order_by(early_on: date, *, lead_days: float, margin_days: float = 0.0) -> date:
    """The last day to order a part that may be needed on `early_on`; fractions of days make it earlier."""
    if lead_days < 0 or margin_days < 0:
        raise ValueError("Lead time and margin must not be negative.")
    return early_on - timedelta(days=math.ceil(lead_days + margin_days))
