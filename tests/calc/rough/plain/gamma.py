"""A gamma process: wear grows by independent gamma-distributed steps.

Over progress x (by the rates of `line.py`) it grows by a gamma variable of shape alpha * x and one scale,
both by maximum likelihood on the increments between readings (none below a thousandth of a millimetre). From
wear w at the last reading the limit L is passed within x with probability Q(alpha * x, (L - w) / scale); Q is
the upper regularised incomplete gamma function.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from tests.calc.rough.plain.line import Line
from tests.calc.rough.plain.path import Days, Path
from tests.calc.rough.plain.seen import Seen

FURTHEST = 1e3


@dataclass(frozen=True)
class Steps:
    alpha: float
    scale: float


def learn_steps(line: Line, lives: Sequence[Seen]) -> Steps | None:
    """None with fewer than three increments."""
    made = np.concatenate([np.diff(one.kg @ line.rates, prepend=0.0) for one in lives])
    grown = np.concatenate([np.diff(one.wear, prepend=0.0) for one in lives])
    x, grown = made[made > 0], np.maximum(grown[made > 0], 1e-3)
    if len(x) < 3:
        return None
    logs = np.log(grown)

    def against(at: np.ndarray) -> float:
        shape = np.maximum(np.exp(at[0]) * x, 1e-9)
        each = (shape - 1.0) * logs - grown / np.exp(at[1]) - special.gammaln(shape) - shape * at[1]
        return -float(each.sum())

    begin = [float(np.log(1.0 / x.mean())), float(np.log(grown.mean()))]
    found = optimize.minimize(against, begin, method="Nelder-Mead", options={"maxiter": 400}).x
    return Steps(*np.exp(found).tolist())


def days_by_steps(steps: Steps, line: Line, one: Seen, path: Path) -> Days | None:
    worn = max(float(one.wear[-1]), 0.0) if len(one.wear) else 0.0
    since = float((one.now_kg - (one.kg[-1] if len(one.wear) else 0.0)) @ line.rates)
    left = max(line.budget - worn, 1e-6) / steps.scale

    def until(chance: float) -> float:
        """The progress within which the limit is passed with this chance."""

        def excess(x: float) -> float:
            return float(special.gammaincc(max(steps.alpha * x, 1e-9), left)) - chance

        high = 1e-6
        while excess(high) < 0.0 and high < FURTHEST:
            high *= 2.0
        return float(optimize.brentq(excess, 0.0, high)) if excess(high) >= 0.0 else FURTHEST

    return path.days([until(chance) - since for chance in (0.1, 0.5, 0.9)], line.rates)
