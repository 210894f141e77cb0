"""The density of the readings of one type, for many choices of how their wear strays at once.

The readings of one part have the covariance

    C = A + life^2 * U U' + part^2 * u u' + S S'

A is noise and errors, block by block for each life; u is the progress of all rows, U the same with a column
for each life, S has a column for each shift by polishing. The rows of a life are taken in the order of their
progress, each with what those before let expect: noise is a Markov process (with its pace, where that has a
memory), so that a life of n rows costs n steps (Kalman, "A new approach to linear filtering and prediction
problems", Journal of Basic Engineering 82, 1960; from memory). The few columns that rows have in common are
then eliminated one by one, by the matrix determinant lemma and the Sherman-Morrison-Woodbury formula (Golub
and Van Loan, "Matrix Computations"; from memory):

    log det(A + f x x') = log det A + log(1 + f x' A^-1 x)
    y' (A + f x x')^-1 y = y' A^-1 y - f (x' A^-1 y)^2 / (1 + f x' A^-1 x)

All is done for every life and every choice at once, since lives are short and many.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wearlog.calc.wear.lives import Ints
from wearlog.calc.wear.noise import Noise
from wearlog.calc.wear.records import Floats
from wearlog.calc.wear.state import SHIFT_SD

ROUNDING = 1e-13


@dataclass(frozen=True)
class Lives:
    """The rows (N) of L lives of P parts, side by side by life in the order of their progress; a life has at
    most n rows. `row` (L, n) is the index of each, -1 where a life has fewer; `begin` (P,) the first life of
    each part; `u` (L, n) the progress of each row, and `shifts` (L, n, J) the shifts before it."""

    row: Ints
    part: Ints
    begin: Ints
    u: Floats
    shifts: Floats

    @classmethod
    def of(cls, part: Ints, life: Ints, u: Floats, shifts: Floats) -> Lives:
        """From the part, life and progress (N,) of each row, and shifts (N, J)."""
        several = int(life.max(initial=0)) + 1
        found, cell = np.unique(part * several + life, return_inverse=True)
        begins = np.diff(found // several, prepend=-1) > 0
        row, number, begin = side_by_side(cell, u), np.cumsum(begins) - 1, np.flatnonzero(begins)
        none = np.zeros(0)
        made = cls(row, number, begin, none, none)
        return replace(made, u=made.spread(u), shifts=made.spread(shifts[:, shifts.any(axis=0)]))

    @property
    def there(self) -> np.ndarray:
        """Where a life has a row, (L, n)."""
        return self.row >= 0

    def spread(self, values: Floats, empty: float = 0.0) -> Floats:
        """`values` (N, ...), one for each row, as (L, n, ...); `empty` where a life has fewer rows."""
        out = np.asarray(values)[np.maximum(self.row, 0)]
        return np.where(self.there.reshape(self.there.shape + (1,) * (out.ndim - 2)), out, empty)

    def told(self, sizes: Floats, length: float, errors: Floats, known: Floats) -> Products:
        """What rows tell by A for one or several sizes of the noise (...), with the variances of the errors
        (..., L, n), of m columns `known` (L, n, m)."""
        common = np.concatenate([self.u[:, :, None], self.shifts], axis=2)
        columns, own = np.concatenate([common, known], axis=2), common.shape[2]
        lead = np.broadcast_shapes(sizes.shape, errors.shape[:-2])
        told = np.zeros((*lead, len(self.row), own, columns.shape[2]))
        squares = np.zeros((*lead, len(self.row), known.shape[2]))
        log_det = np.zeros(lead)
        filter_ = _Filter(self, sizes, length, (*lead, len(self.row)))
        # A row that isn't there has an error without bound: it tells nothing.
        errors = np.where(self.there, errors, np.inf)
        for step in range(self.row.shape[1]):
            away, variance = filter_.next(step, columns[:, step], errors[..., step])
            weighed = away / variance[..., None]
            told += away[..., :own, None] * weighed[..., None, :]
            squares += away[..., own:] * weighed[..., own:]
            log_det += np.log(variance, out=np.zeros_like(variance), where=self.there[:, step]).sum(axis=-1)
        return Products(self, told, squares, log_det)

    def solved(self, noise: Noise, errors: Floats, known: Floats, *, part: float, life: float) -> Solved:
        """C solved for known columns (L, n, m), from the variances of errors (L, n; 1 where a life has fewer
        rows) and the spreads between parts and between the lives of one part."""
        common = np.concatenate([self.u[:, :, None], self.shifts], axis=2)
        columns, own = np.concatenate([common, known], axis=2), common.shape[2]
        pairs = self.there[:, :, None] & self.there[:, None, :]
        a = noise.between(self.u, self.u) * pairs + errors[:, :, None] * np.eye(errors.shape[1])
        inverse = np.linalg.inv(a)
        solved = inverse @ columns
        by_progress, follow = (self.u[:, None, :] @ solved)[:, 0], solved[:, :, 0]
        weight = life**2 / (1.0 + life**2 * by_progress[:, :1])
        diagonal = np.diagonal(inverse, axis1=1, axis2=2) - weight * follow**2
        solved = solved - follow[:, :, None] * (weight * by_progress)[:, None, :]
        told = self.by_part(common.swapaxes(1, 2) @ solved, 0)
        precision = np.diag([part**-2.0] + [SHIFT_SD**-2.0] * (own - 1))
        held = np.asarray(np.linalg.inv(told[:, :, :own] + precision), dtype=float)
        return Solved(self, known, diagonal, solved, told, held)

    def by_part(self, values: Floats, axis: int) -> Floats:
        """Sums of values of lives over those of each part."""
        return np.asarray(np.add.reduceat(values, self.begin, axis=axis))


def side_by_side(group: Ints, order: Floats | Ints) -> Ints:
    """The rows (N,) of each group (numbered from 0) in order, shape (groups, most rows), -1 where a group has
    fewer."""
    sorted_ = np.lexsort((order, group))
    counts = np.bincount(group)
    row = np.full((len(counts), int(counts.max(initial=0))), -1)
    row[group[sorted_], np.arange(len(group)) - (np.cumsum(counts) - counts)[group[sorted_]]] = sorted_
    return row


def as_few(factors: Floats, part: Ints) -> Floats:
    """Columns (N, at most K) with the same products F F' of the rows of each part as `factors` (N, K)."""
    parts = np.unique(part, return_inverse=True)[1]
    row = side_by_side(parts, parts)
    if row.shape[1] >= factors.shape[1]:
        return factors
    there = row >= 0
    of_part = factors[np.maximum(row, 0)] * there[:, :, None]
    products = of_part @ of_part.swapaxes(1, 2)
    # A little more on the diagonal, since rows that follow fewer numbers than they are have no other root.
    little = ROUNDING * (np.trace(products, axis1=1, axis2=2) + ROUNDING)
    roots = np.linalg.cholesky(products + little[:, None, None] * np.eye(row.shape[1]))
    few = np.empty((len(factors), row.shape[1]))
    few[row[there]] = roots[there]
    return few


class _Filter:
    """Wear in the rows of all lives so far, (..., L), and what is expected of each column (..., L, c)."""

    def __init__(self, lives: Lives, sizes: Floats, length: float, shape: tuple[int, ...]) -> None:
        noise = Noise(1.0, length)
        self.ahead = np.maximum(np.diff(lives.u, axis=1, prepend=0.0), 0.0)
        self.added, self.memory = noise.ahead(self.ahead), length > 0
        self.sizes = sizes[..., None]
        self.variance, self.expected = np.zeros(shape), np.zeros((*shape, 1))
        if self.memory:
            self.carried, self.fade = noise.carried(self.ahead), np.exp(-self.ahead / length)
            self.pace_variance = self.sizes * noise.pace_variance * np.ones(shape)
            self.both, self.pace = np.zeros(shape), np.zeros((*shape, 1))
            self.pace_added = noise.pace_variance * (1.0 - self.fade**2)
            self.both_added = noise.pace_variance * length * (1.0 - self.fade) ** 2

    def next(self, step: int, columns: Floats, errors: Floats) -> tuple[Floats, Floats]:
        """How far the columns (L, c) of the next row are from what is expected, and the variance of that
        distance; then both are known."""
        if self.memory:
            self._carry(step)
        self.variance = self.variance + self.sizes * self.added[:, step]
        away, variance = columns - self.expected, self.variance + errors
        gain = self.variance / variance
        self.expected = self.expected + gain[..., None] * away
        if self.memory:
            with_pace = self.both / variance
            self.pace = self.pace + with_pace[..., None] * away
            self.pace_variance = self.pace_variance - with_pace * self.both
            self.both = self.both - gain * self.both
        self.variance = self.variance - gain * self.variance
        return away, variance

    def _carry(self, step: int) -> None:
        carried, fade = self.carried[:, step], self.fade[:, step]
        self.expected = self.expected + carried[:, None] * self.pace
        self.pace = fade[:, None] * self.pace
        self.variance = self.variance + carried * (2.0 * self.both + carried * self.pace_variance)
        self.both = fade * (self.both + carried * self.pace_variance) + self.sizes * self.both_added[:, step]
        self.pace_variance = fade**2 * self.pace_variance + self.sizes * self.pace_added[:, step]


@dataclass(frozen=True)
class Products:
    """What rows tell, for one or several choices (the leading axes): the products by A^-1 of u and the
    shifts with all columns, `own` (..., L, 1 + J, 1 + J + m), and of each known column with itself, `squares`
    (..., L, m); and log det A (...)."""

    lives: Lives
    own: Floats
    squares: Floats
    log_det: Floats

    def choice(self, index: int) -> Products:
        """One of several choices."""
        return Products(self.lives, self.own[index], self.squares[index], self.log_det[index])

    def by_part(self, life: Floats) -> Products:
        """The same by A + life^2 * U U', summed over the lives of each part, for one or several spreads
        between the lives of one part."""
        by_progress, size = self.own[..., 0, :], np.asarray(life)[..., None] ** 2
        grown = 1.0 + size * by_progress[..., 0]
        weighed = (size / grown)[..., None] * by_progress
        columns = self.own.shape[-2]
        own = self.own - by_progress[..., :columns, None] * weighed[..., None, :]
        squares = self.squares - by_progress[..., columns:] * weighed[..., columns:]
        return Products(
            self.lives,
            self.lives.by_part(own, -3),
            self.lives.by_part(squares, -2),
            self.log_det + np.log(grown).sum(axis=-1),
        )

    def whole(self, part: Floats) -> tuple[Floats, Floats]:
        """Of what `by_part` gave: x' C^-1 x (..., m) of each known column x, and log det C (...), for one or
        several spreads between parts."""
        columns = self.own.shape[-2]
        own = np.broadcast_to(
            self.own, np.broadcast_shapes(self.own.shape, (*np.shape(part), 1, 1, 1))
        ).copy()
        squares, log_det = self.squares.sum(axis=-2), self.log_det
        for index in range(columns):
            size = np.asarray(part)[..., None] ** 2 if index == 0 else np.asarray(SHIFT_SD**2)
            grown = 1.0 + size * own[..., index, index]
            weighed = (size / grown)[..., None] * own[..., index, :]
            squares = squares - (own[..., index, columns:] * weighed[..., columns:]).sum(axis=-2)
            log_det = log_det + np.log(grown).sum(axis=-1)
            own -= own[..., index, :columns, None] * weighed[..., None, :]
        return squares, log_det


@dataclass(frozen=True)
class Solved:
    """C solved for known columns, but for what all rows of a part have in common: the `diagonal` (L, n) of
    the inverse, that times u, shifts and known columns `solved` (L, n, 1 + J + m), and by part the products
    of these with u and shifts `told` (P, 1 + J, 1 + J + m) and the covariance of the multiplier and the
    shifts where all rows are known, `held` (P, 1 + J, 1 + J)."""

    lives: Lives
    known: Floats
    diagonal: Floats
    solved: Floats
    told: Floats
    held: Floats

    def alone(self) -> tuple[Floats, Floats]:
        """The diagonal of C^-1 (L, n), and C^-1 times the first known column (L, n)."""
        own, part = self.held.shape[2], self.lives.part
        follow, middle = self.solved[:, :, :own], self.held @ self.told[:, :, own, None]
        diagonal = self.diagonal - ((follow @ self.held[part]) * follow).sum(axis=2)
        return diagonal, self.solved[:, :, own] - (follow @ middle[part])[:, :, 0]

    def information(self) -> Floats:
        """X' C^-1 X (m, m) of all known columns X."""
        own, size = self.held.shape[2], self.known.shape[2]
        pulled = self.told[:, :, own:]
        total = self.known.reshape(-1, size).T @ self.solved[:, :, own:].reshape(-1, size)
        return np.asarray(total - pulled.reshape(-1, size).T @ (self.held @ pulled).reshape(-1, size))
