"""What is left of a part of which only its expected life and its age are known.

The life T is taken as lognormal about the expected life, its median, with the standard deviation s of its
logarithm. Given that the part has reached the age a,

    P(T <= t | T > a) = (F(t) - F(a)) / (1 - F(a)),   F(t) = Phi(ln(t / expected) / s),

so that the life passed with the chance p is expected * exp(s * z), Phi(z) = F(a) + p (1 - F(a)); what is left
is that less a. A part beyond its expected life is not worn out by that: it has less left, never less than
nothing.

Hours or kilograms, one unit throughout. Source: a truncated distribution is textbook; the lognormal form and
its spread are the caller's assumption.
"""

from __future__ import annotations

import math

from wearlog.calc import quantiles

FURTHEST_TAIL = 1e-12
"""Beyond this chance of reaching its age a part counts as having nothing left."""


def left_of_life(*, expected: float, age: float, spread: float, chance: float) -> float:
    """What is left at an age with this chance of being passed: with 10 % the early point, with 90 % the late
    one. Raises ValueError for numbers that are not positive, or a chance that is not between 0 and 1."""
    if not (expected > 0 and spread > 0 and age >= 0 and 0 < chance < 1):
        raise ValueError("Expected life and spread must be above 0, the age not negative, 0 < chance < 1.")
    share = age / expected
    reached = quantiles.above_normal(math.log(share) / spread) if share > 0 else 1.0
    if reached < FURTHEST_TAIL:
        return 0.0
    # The chance of outliving t is that of reaching the age times that of outliving t from there.
    beyond = reached * (1 - chance)
    return max(0.0, expected * math.exp(-spread * quantiles.normal(beyond)) - age)
