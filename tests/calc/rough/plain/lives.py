"""Weibull lives in kilograms, by maximum likelihood of finished and censored lives.

The expected life counts as one more finished life. The shape is 3 below three failures. What is left is
conditional on the seed taken: R(c) = eta * ((a / eta)^b - ln(1 - c))^(1/b) - a for the chance c, age a, shape
b and scale eta.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize

from tests.calc.rough.plain.path import Days, Path
from tests.calc.rough.plain.seen import Seen

FIXED_SHAPE = 3.0
LARGEST_SHAPE = 60.0


@dataclass(frozen=True)
class Lives:
    shape: float
    scale: float


def learn_lives(expected_kg: float, lives: Sequence[Seen]) -> Lives:
    known = [(float(one.now_kg.sum()), one.worn) for one in lives if one.now_kg.sum() > 0]
    age = np.array([*(kg for kg, _ in known), expected_kg])
    failed = np.array([*(worn for _, worn in known), True])
    shape = FIXED_SHAPE
    if failed.sum() >= 3:
        logs = np.log(age / age.max())

        def slope(b: float) -> float:
            """Of the likelihood, the scale being at its best."""
            power = np.exp(b * logs)
            return float(1.0 / b + logs[failed].mean() - power @ logs / power.sum())

        shape = LARGEST_SHAPE
        if slope(LARGEST_SHAPE) < 0.0 < slope(0.2):
            shape = float(optimize.brentq(slope, 0.2, LARGEST_SHAPE))
    largest = age.max()
    scale = largest * float((((age / largest) ** shape).sum() / failed.sum()) ** (1.0 / shape))
    return Lives(shape, scale)


def days_by_lives(lives: Lives, one: Seen, path: Path) -> Days | None:
    age = float(one.now_kg.sum())
    left = [
        lives.scale * ((age / lives.scale) ** lives.shape - np.log1p(-chance)) ** (1.0 / lives.shape) - age
        for chance in (0.1, 0.5, 0.9)
    ]
    return path.days(left, np.ones(len(one.now_kg)))
