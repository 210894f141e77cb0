"""Quantiles and tails of the normal, chi-square and Student's distribution, each by scipy's special function.

`scipy.stats` gives the same figures, and takes half a second to load, which every command and every worker
would pay at its start. A chance lies between 0 and 1 and is neither.
"""

from __future__ import annotations

import math

from scipy import special


def normal(chance: float) -> float:
    """The value that a standard normal variable stays below with this chance."""
    return float(special.ndtri(chance))


def above_normal(value: float) -> float:
    """The chance that a standard normal variable lies above the value."""
    return float(special.ndtr(-value))


def chi_square(chance: float, freedom: float) -> float:
    """The value that chi-square with these degrees of freedom stays below with this chance; nan without
    freedom."""
    return 2 * float(special.gammaincinv(freedom / 2, chance)) if freedom > 0 else math.nan


def above_chi_square(value: float, freedom: float) -> float:
    """The chance that chi-square with these degrees of freedom, above 0, lies above the value, 0 or more."""
    return float(special.chdtrc(freedom, value))


def student(chance: float, freedom: float) -> float:
    """The value that Student's t with these degrees of freedom stays below with this chance; nan without
    freedom."""
    return float(special.stdtrit(freedom, chance)) if freedom > 0 else math.nan
