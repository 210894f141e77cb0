"""Age replacement: changing a part before it fails, where failing costs more.

A part is changed at age T for the planned cost or at its failure for the failure cost, whichever comes first;
the cost per unit of age is

    C(T) = (planned R(T) + failure F(T)) / integral of R from 0 to T

and is least where h(T) * integral of R - F(T) = planned / (failure - planned), with h the hazard. For a
Weibull life (`replacement`) the integral is an incomplete gamma function, so that this is a single bracketed
root; `replacement_of` does the same for any life given by its survival and hazard functions.

Advice is withheld (`best_age` None, with the reason) where the shape, or the lower limit of its range, is not
above 1 (parts that fail by chance gain nothing from early replacement), where a failure costs no more than
planned work, or where the saving is below 5 %. The lower limit has to be an exact one
(`calc.life.least_shape`): then parts that fail by chance get false advice in 2.5 % of cases; with a
likelihood-ratio limit it is 15 % with three failures and 6 % with ten.

Costs in the mill's one currency; ages in hours, kilograms or tonnes. Source: Barlow and Hunter 1960 (from
memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
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
