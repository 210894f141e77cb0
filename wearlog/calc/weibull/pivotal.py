"""Exact limits of a Weibull's shape, scale and quantiles, however few parts have failed.

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

A likelihood-ratio limit takes b^r where b^(r - 2) stands here: it reckons as if the scale were known. So it
calls shapes too high, in 6 % of samples with ten failures where 2.5 % is meant.

The density is integrated over b^(1/3), in which it is nearly normal, by Gauss-Legendre quadrature; its
integral up to any shape is that of the Legendre polynomial through the nodes. Ages in any unit; limits at any
confidence. A plain version by adaptive quadrature stands in the tests.

Source: Lawless 1978, Technometrics 20:355 and 1982, chapter 4 (conditional limits; from memory). The share d
and the change of variable are this module's own; how often the limits hold is in docs/methods/life.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt
from numpy.polynomial import legendre
from scipy import special

from wearlog.calc.weibull import tails
from wearlog.calc.weibull.sets import Rows, Sets, root

Floats = npt.NDArray[np.float64]

FROM: Final = 3
"""Failures from which on limits are taken from here. With two, advice rests on assumed shapes, and the limits
shown are likelihood-ratio ones."""
NODES, FEWER_NODES = 40, 28
"""Below ten failures and from ten on, where the density is nearer to a normal one."""
REACH: Final = 5.5
"""Standard errors of the cube root of the shape within which the density is integrated."""
NEGLIGIBLE: Final = 1e-12
SMALL: Final = 1e-3
"""Standard errors of the logarithm of an age: after a Newton step so small, the error is about its square."""


@dataclass(frozen=True)
class Rule:
    """Gauss-Legendre quadrature from -1 to 1 with n nodes: `x` and `weight`, shape (n,), and `up_to`, (n, n),
    by which values of a function at the nodes give its integrals from -1 to each node."""

    x: Floats
    weight: Floats
    up_to: Floats

    @classmethod
    @lru_cache
    def of(cls, nodes: int) -> Rule:
        x, weight = legendre.leggauss(nodes)
        integrals = np.stack([legendre.legval(x, legendre.legint(row, lbnd=-1)) for row in np.eye(nodes)])
        values = legendre.legvander(x, nodes - 1) * weight[:, None] * (np.arange(nodes) + 0.5)
        return cls(x, weight, values @ integrals)


def by_pivots(failures: Floats) -> npt.NDArray[np.bool_]:
    return failures >= FROM


class Pivots:
    """The distribution of shapes for the sets at the indexes `rows`, given ln of the shape of greatest
    likelihood and its standard error, shape (rows,). Quickest where all have less than ten failures, or none.
    """

    def __init__(self, sets: Sets, rows: Rows, log_shape: Floats, se: Floats) -> None:
        self.failures, self.top = sets.failures[rows], sets.top[rows]
        fewer = self.failures.min(initial=np.inf) >= tails.SMOOTH_FROM
        self.rule = rule = Rule.of(FEWER_NODES if fewer else NODES)
        self.error = np.exp(-log_shape) / np.sqrt(self.failures)
        middle = np.exp(log_shape / 3)
        reach = REACH * middle * se / 3
        self.low = np.maximum(0.0, middle - reach)
        self.half = (middle + reach - self.low) / 2
        cube_root = self.low[:, None] + self.half[:, None] * (rule.x + 1)
        self.shape = cube_root**3
        self.log_sum = sets.log_sums(self.shape, rows)
        r = self.failures[:, None]
        log_density = (
            (3 * (r - 2 + sets.outlived[rows][:, None]) + 2) * np.log(cube_root)
            + self.shape * sets.died_u[rows][:, None]
            - r * self.log_sum
        )
        density = np.exp(log_density - log_density.max(axis=1, keepdims=True))
        mass = density @ rule.weight
        self.chance = density * rule.weight / mass[:, None]
        self.height = density / mass[:, None]
        self.up_to = self.height @ rule.up_to

    def shape_limits(self, tail: float) -> Floats:
        """The shapes that are exceeded with the chances 1 - tail and tail, shape (2, sets)."""
        size, nodes = self.low.size, self.rule.x
        every = np.arange(2 * size)
        goal = np.repeat(special.ndtri([tail, 1 - tail]), size)
        z = np.tile(_normal(self.up_to), (2, 1))  # rises from node to node
        after = np.clip((z < goal[:, None]).sum(axis=1), 1, nodes.size - 1)
        place, before = every % size, after - 1
        near, far = z[every, before], z[every, after]
        gap = far - near
        share = (goal - near) / gap
        # x as a cubic in z between two nodes: at both, its value and its slope are known.
        steep = gap * _bell(near) / self.height[place, before]
        level = gap * _bell(far) / self.height[place, after]
        x, rise = nodes[before], nodes[after] - nodes[before]
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
        found: Floats = self._ages(np.broadcast_to(level, (level.size, self.rule.x.size)), chance, place)
        return found.reshape(len(levels), 2, size)

    def mean_lives(self, chance: Floats) -> Floats:
        """The mean lives of the first set that lie above the true one with each chance, shape (k,). The mean
        is the quantile with level = shape * ln gamma(1 + 1 / shape), which differs from shape to shape."""
        place = np.zeros(chance.size, dtype=np.intp)
        level = self.shape * special.gammaln(1 + 1 / self.shape)
        found: Floats = np.exp(np.minimum(self._ages(level[place], chance, place), tails.LARGEST))
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
            more, density = tails.above(r, self.log_sum[own] + level[at] - shape * y[:, None])
            z = _normal(np.einsum("ij,ij->i", weight, more))
            slope = np.einsum("ij,ij->i", weight * shape, density)
            return goal[at] - z, -slope / _bell(z)

        start = self._start(edge, goal, place)
        ages: Floats = root(over, low, high, start, small=SMALL * self.error[place]) + self.top[place]
        return ages

    def _start(self, edge: Floats, goal: Floats, place: Rows) -> Floats:
        """Where the search for ages begins: as if ln t_p were normal at each node, and over all of them."""
        weight = self.chance[place]
        spread = 1 / (self.shape * np.sqrt(self.failures)[:, None])
        centre = edge - goal[:, None] * spread[place]
        middle = np.einsum("ij,ij->i", weight, centre)
        apart = np.einsum("ij,ij->i", weight, (centre - middle[:, None]) ** 2)
        own = np.einsum("ij,ij->i", self.chance, spread**2)
        found: Floats = middle + goal * np.sqrt(own[place] + apart)
        return found


def _normal(chance: Floats) -> Floats:
    """The standard normal values of chances, in which a distribution function is nearly straight."""
    found: Floats = special.ndtri(np.clip(chance, 1e-300, 1 - 1e-16))
    return found


def _bell(z: Floats) -> Floats:
    """The density of the standard normal distribution."""
    height: Floats = np.exp(-z * z / 2) / np.sqrt(2 * np.pi)
    return height
