"""Where a function of one number is 0."""

from __future__ import annotations

from collections.abc import Callable

RELATIVE = 1e-14
"""How exact a root is, relative to itself."""


def between(low: float, high: float, over: Callable[[float], float], *, within: float) -> float:
    """The root of `over` between `low` and `high`, at which it has opposite signs, to `within` and `RELATIVE`
    of itself together. Raises ValueError where the signs are the same. Brent's method."""
    # Imported here: it takes a quarter of a second to load, which every command would pay at its start.
    from scipy import optimize

    return float(optimize.brentq(over, low, high, xtol=within, rtol=RELATIVE))
