"""Exact limits of a Weibull's shape, scale and quantiles where few parts have failed.

With ln t = mu + sigma * e (mu the logarithm of the scale, sigma = 1 / shape), the pivots of the location and
the scale, given how the failures lie to each other, have a distribution that depends on nothing unknown.
Integrating it gives limits that hold exactly, however few the failures, for samples that are complete, end
with a failure, or lose parts at failures. It is the posterior under the density 1 / sigma, whose scale is
integrated out by hand: with r failures, u = ln(t / t_max) and S(b) = sum(w exp(b u)) over all units,

    density of the shape b:   b^(r - 2 + d) exp(b sum_failed(w u)) / S(b)^r
    P(ln(t_p / t_max) <= y):  the mean over b of P(G >= S(b) exp(level - b y)), G gamma-distributed, shape r

where level = ln(-ln(1 - p)), 0 for the scale. Where observation ends at an age instead of with a failure, no
exact limits exist; d, the share of units that outlived the last failure, allows for the failure that does not
mark the end: with nearly all units alive and one age at the end, 2 b sum(ln(end / t)) is chi-square with 2r
degrees of freedom, not 2r - 2, and d = 1 is exact again.

The density is integrated over b^(1/3), in which it is nearly normal, by Gauss-Legendre quadrature; its
integral up to any shape is that of the Legendre polynomial through the nodes. Ages in any unit; limits at any
confidence. A plain version by adaptive quadrature stands in the tests.

Source: Lawless 1978, Technometrics 20:355 and 1982, chapter 4 (conditional limits; from memory). The share d
and the change of variable are this module's own; how often the limits hold is in docs/methods/life.md.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from numpy.polynomial import legendre
from scipy import special

from wearlog.calc.weibull.sets import Rows, Sets, root

Floats = npt.NDArray[np.float64]

FROM, BELOW = 3, 10
"""The numbers of failures whose limits are taken from here: with two, advice rests on assumed shapes and the
limits shown are likelihood-ratio ones; from ten on those hold too, and cost less."""
NODES: Final = 40
REACH: Final = 5.5
"""Standard errors of the cube root of the shape within which the density is integrated."""
NEGLIGIBLE: Final = 1e-12
LARGEST: Final = 600.0
"""Keeps an exponential of an exponential finite."""

_X, _WEIGHT = legendre.leggauss(NODES)
_INTEGRALS: Final = np.stack([legendre.legval(_X, legendre.legint(row, lbnd=-1)) for row in np.eye(NODES)])
_UP_TO: Final = (legendre.legvander(_X, NODES - 1) * _WEIGHT[:, None] * (np.arange(NODES) + 0.5)) @ _INTEGRALS
"""Values of a function at the nodes to its integrals from -1 to each node, by way of Legendre polynomials."""


def by_pivots(failures: Floats) -> npt.NDArray[np.bool_]:
    return (failures >= FROM) & (failures < BELOW)


class Pivots:
    """The distribution of shapes for the sets at the indexes `rows`, given ln of the shape of greatest
    likelihood and its standard error, shape (rows,)."""

    def __init__(self, sets: Sets, rows: Rows, log_shape: Floats, se: Floats) -> None:
        self.failures, self.top = sets.failures[rows], sets.top[rows]
        middle = np.exp(log_shape / 3)
        reach = REACH * middle * se / 3
        self.low = np.maximum(0.0, middle - reach)
        self.half = (middle + reach - self.low) / 2
        cube_root = self.low[:, None] + self.half[:, None] * (_X + 1)
        self.shape = cube_root**3
        self.log_sum = sets.log_sums(self.shape, rows)
        r = self.failures[:, None]
        log_density = (
            (3 * (r - 2 + sets.outlived[rows][:, None]) + 2) * np.log(cube_root)
            + self.shape * sets.died_u[rows][:, None]
            - r * self.log_sum
        )
        density = np.exp(log_density - log_density.max(axis=1, keepdims=True))
        mass = density @ _WEIGHT
        self.chance = density * _WEIGHT / mass[:, None]
        self.height = density / mass[:, None]
        self.up_to = self.height @ _UP_TO

    def shape_limits(self, tail: float) -> Floats:
        """The shapes that are exceeded with the chances 1 - tail and tail, shape (2, sets)."""
        size = self.low.size
        every = np.arange(2 * size)
        goal = np.repeat(special.ndtri([tail, 1 - tail]), size)
        z = np.tile(_normal(self.up_to), (2, 1))  # rises from node to node
        after = np.clip((z < goal[:, None]).sum(axis=1), 1, NODES - 1)
        place, before = every % size, after - 1
        near, far = z[every, before], z[every, after]
        gap = far - near
        share = (goal - near) / gap
        # x as a cubic in z between two nodes: at both, its value and its slope are known.
        steep = gap * _bell(near) / self.height[place, before]
        level = gap * _bell(far) / self.height[place, after]
        x, rise = _X[before], _X[after] - _X[before]
        x = x + share * (steep + share * (3 * rise - 2 * steep - level + share * (steep + level - 2 * rise)))
        found: Floats = (self.low + self.half * (x.reshape(2, size) + 1)) ** 3
        return found

    def quantile_limits(self, levels: tuple[float, ...], tail: float) -> Floats:
        """The values of ln t_p that lie above the true one with the chances tail and 1 - tail, for each level
        ln(-ln(1 - p)), shape (levels, 2, sets)."""
        size, parts = self.low.size, 2 * len(levels)
        place = np.tile(np.arange(size), parts)
        level = np.repeat(levels, 2 * size)[:, None]
        chance = np.tile(np.repeat([tail, 1 - tail], size), len(levels))
        found: Floats = self._ages(np.broadcast_to(level, (level.size, NODES)), chance, place)
        return found.reshape(len(levels), 2, size)

    def mean_lives(self, chance: Floats) -> Floats:
        """The mean lives of the first set that lie above the true one with each chance, shape (k,). The mean
        is the quantile with level = shape * ln gamma(1 + 1 / shape), which differs from shape to shape."""
        place = np.zeros(chance.size, dtype=np.intp)
        level = self.shape * special.gammaln(1 + 1 / self.shape)
        found: Floats = np.exp(np.minimum(self._ages(level[place], chance, place), LARGEST))
        return found

    def _ages(self, level: Floats, chance: Floats, place: Rows) -> Floats:
        """ln of the ages that lie above the true ones with these chances, (k,), for levels at each node, (k,
        nodes), of the sets at these places, (k,)."""
        goal = special.ndtri(chance)
        drawn = np.log(special.gammainccinv(self.failures[place], chance))[:, None]
        edge = (self.log_sum[place] + level - drawn) / self.shape[place]
        heavy = self.chance[place] > NEGLIGIBLE
        low = np.where(heavy, edge, np.inf).min(axis=1)
        high = np.where(heavy, edge, -np.inf).max(axis=1)

        def over(y: Floats, at: Rows) -> tuple[Floats, Floats]:
            own = place[at]
            r, shape, weight = self.failures[own], self.shape[own], self.chance[own]
            log_g = np.minimum(self.log_sum[own] + level[at] - shape * y[:, None], LARGEST)
            more, density = _gamma(r, log_g)
            z = _normal(np.einsum("ij,ij->i", weight, more))
            slope = np.einsum("ij,ij->i", weight * shape, density)
            return goal[at] - z, -slope / _bell(z)

        start = np.einsum("ij,ij->i", np.where(heavy, edge, 0.0), self.chance[place])
        ages: Floats = root(over, low, high, start) + self.top[place]
        return ages


def _normal(chance: Floats) -> Floats:
    """The standard normal values of chances, in which a distribution function is nearly straight."""
    found: Floats = special.ndtri(np.clip(chance, 1e-300, 1 - 1e-16))
    return found


def _bell(z: Floats) -> Floats:
    """The density of the standard normal distribution."""
    height: Floats = np.exp(-z * z / 2) / np.sqrt(2 * np.pi)
    return height


def _gamma(r: Floats, log_g: Floats) -> tuple[Floats, Floats]:
    """The chance that a gamma variable of shape r, (k,), exceeds g, (k, nodes), and g times its density."""
    g, r = np.exp(log_g), r[:, None]
    density = np.exp(r * log_g - g - special.gammaln(r))
    if np.any(r != np.floor(r)):
        return special.gammaincc(r, g), density
    # For a whole r, the chance of fewer than r events of a Poisson variable of mean g: ten times as fast.
    term = np.exp(-g)
    total = term.copy()
    for k in range(1, int(r.max())):
        term *= g
        term *= np.where(k < r, 1 / k, 0.0)
        total += term
    return total, density
