"""Wear that wanders: what readings say when a part's wear is no straight line along its progress.

    wear(u) = theta * budget * u + budget * B(u) + shifts + error

u = G(progress / budget) runs from 0 (new) to 1 (the limit of an average edge), theta is the multiplier of the
life, and B what seed, feeding and chance do to one edge alone (see `noise`). With it the last believed
readings count most, and more readings make a forecast better and not only surer. How far the pace remembers
itself, the gauge's error and the spread of multipliers are those of the highest posterior density, the size
of the noise averaged over a grid that holds zero.

Whitmore and Schenkelberg, "Modelling accelerated degradation data using Wiener diffusion with a time scale
transformation", Lifetime Data Analysis 3, 1997 (from memory): drift, scale u, and errors of measurement.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearlog.calc.wear.lives import Ints
from wearlog.calc.wear.noise import Noise
from wearlog.calc.wear.records import Floats
from wearlog.calc.wear.state import SHIFT_SD, SPREAD_GUESS

# Noise, and factors of the gauge's error and of the spread of parts, that are tried; and spreads of lives.
NOISES = np.array([0.0, 0.0005, 0.001, 0.002, 0.004, 0.008, 0.015, 0.03, 0.06, 0.12])
# How far the pace remembers itself, in parts of a life, and how likely that is before any reading.
LENGTHS, LENGTH_CHANCES = (0.0, 0.1, 0.3), np.array([0.6, 0.2, 0.2])
NOISE_GUESS = Noise(0.01)
GAUGES = np.array([0.2, 0.35, 0.5, 0.7, 0.85, 1.0, 1.2])
PARTS = np.array([0.4, 0.6, 0.8, 1.0, 1.2])
LIVES = np.array([0.02, 0.05, 0.1, 0.2, 0.3])
SWEEPS = 2
MOST_PARTS = 200  # so many parts of a type are enough to learn the spreads from
GAUGE_STRENGTH, PART_STRENGTH = 6.0, 4.0  # how many observations these priors count for
LIFE_SCALE, NOISE_SCALE = (
    0.1,
    0.2,
)  # of the exponential priors of the spread of lives and of the root of noise
TREND_SD = 0.2
"""Of how much faster each further life wears after a rebuild, as a fraction of the usual rate."""
# A reading in fifty is a slip: at least a third of the budget off, or eight errors of the gauge.
SLIP_SHARE, SLIP_SIZE, GROSS = 0.02, 8.0, 0.35


@dataclass(frozen=True)
class Wander:
    """How the wear of one type's edges strays, in budgets: the noise within a life, the gauge's error, and
    the spreads of multipliers between parts and between the lives of one part."""

    noise: Noise
    gauge_sd: float
    part: float
    life: float
    error: Floats  # variance of each row's error, for all rows
    loose: Floats  # how far off each row is, in standard deviations of what the others let expect

    def between(
        self, u: Floats, life: Ints, other_u: Floats, other_life: Ints, *, part: float | None = None
    ) -> Floats:
        """Prior covariance of the wear (in budgets) of one part's lives at u and at other_u: shapes (..., n)
        and (..., m). part: another spread between parts."""
        same = life[..., :, None] == other_life[..., None, :]
        spread = (self.part if part is None else part) ** 2 + self.life**2 * same
        scaled = u[..., :, None] * other_u[..., None, :] * spread
        return np.asarray(scaled + same * self.noise.between(u, other_u))


@dataclass(frozen=True)
class Blocks:
    """The rows of each part side by side, shape (parts, most rows); `row` is -1 where a part has fewer."""

    row: Ints
    there: Floats

    @classmethod
    def of(cls, part: Ints, parts: int) -> Blocks:
        order = np.argsort(part, kind="stable")
        counts = np.bincount(part, minlength=parts)
        begin = np.cumsum(counts) - counts
        row = np.full((parts, max(int(counts.max(initial=0)), 1)), -1)
        row[part[order], np.arange(len(part)) - begin[part[order]]] = order
        return cls(row, (row >= 0).astype(float))

    def spread(self, values: Floats, empty: float = 0.0) -> Floats:
        """`values` (N, ...), one for each row, as (parts, most rows, ...); `empty` where a part has fewer."""
        out = np.asarray(values)[np.maximum(self.row, 0)]
        shape = self.there.reshape(self.there.shape + (1,) * (out.ndim - 2))
        return out * shape + empty * (1.0 - shape)


def gross(gauge_sd: float) -> float:
    """The spread of a slip, in budgets: a digit or a decimal point, not the gauge."""
    return max(GROSS, SLIP_SIZE * gauge_sd)


@dataclass(frozen=True)
class Readings:
    """What is known of one type's edges, one entry for each row, in budgets: `wear`, the variance of its
    `error`, and u, where the middle of what is believed puts an average edge. `plain` marks gauges."""

    part: Ints
    life: Ints
    u: Floats
    wear: Floats
    error: Floats
    plain: Floats
    shifts: Floats
    rebuilt: Floats
    parts: int

    def parts_chosen(self, most: int) -> Ints | None:
        """The rows of at most so many parts, evenly chosen: enough to learn a few spreads from. None: all."""
        if self.parts <= most:
            return None
        chosen = np.unique(np.linspace(0, self.parts - 1, most).astype(np.int64))
        return np.flatnonzero(np.isin(self.part, chosen))


@dataclass(frozen=True)
class Explained:
    """What is explained of each row by what edges have in common: its middle (N,), and the factors (N, K) by
    which it follows K uncertain numbers of the covariance (K, K). In budgets."""

    middle: Floats
    factors: Floats
    covariance: Floats


def stray(
    readings: Readings,
    *,
    gauge_sd: float,
    gauge_guess: float,
    part: float,
    life: float,
    explained: Explained | None = None,
) -> Wander:
    """How the wear of a type's edges strays. The sizes are in budgets, and where the search begins.

    With `explained`, spreads are those of what it leaves (the maximisation of an expectation-maximisation
    step: what is not sure of it counts as spread too)."""
    if not len(readings.wear):
        return Wander(NOISE_GUESS, gauge_sd, part, life, np.zeros(0), np.zeros(0))
    few = readings.parts_chosen(MOST_PARTS)
    search = _Search(readings, few, gauge_guess, explained)
    noise, best = NOISE_GUESS, {"gauge": gauge_sd, "part": part, "spread": life}
    error = readings.error.copy()
    lives = np.unique(np.append(LIVES, life))
    choices = {"gauge": gauge_sd * GAUGES, "part": part * PARTS, "spread": lives}
    for _ in range(SWEEPS):
        error, _loose = search.doubts(error, noise=noise, **best)
        noise = _likeliest(search, error, best, LENGTHS[:1])
        for name, values in choices.items():
            heights = [search.height(error, noise=noise, **(best | {name: float(value)})) for value in values]
            best[name] = float(values[int(np.argmax(heights))])
    # Last, since a gauge's error that is still wrong looks like a pace with a memory, or without one.
    noise = _likeliest(search, error, best, LENGTHS)
    if few is not None:
        search = _Search(readings, None, gauge_guess, explained)
    error, loose = search.doubts(readings.error, noise=noise, **best)
    return Wander(noise, best["gauge"], best["part"], best["spread"], error, loose)


def _likeliest(search: _Search, error: Floats, best: dict[str, float], lengths: tuple[float, ...]) -> Noise:
    """The likeliest of the lengths, and the mean size with it."""
    heights = np.array(
        [[search.height(error, noise=Noise(float(q), each), **best) for q in NOISES] for each in lengths]
    )
    chance = np.exp(heights - heights.max())
    length = int(np.argmax(LENGTH_CHANCES[: len(lengths)] * chance.sum(axis=1)))
    chance = chance[length] / chance[length].sum()
    size = float(chance @ NOISES)
    return Noise(size, lengths[length] if size > 0 else 0.0)


class _Search:
    """The readings of each part side by side, with the covariance that any choice of spreads gives them.
    chosen: the rows to use (None: all)."""

    def __init__(
        self, readings: Readings, chosen: Ints | None, gauge_guess: float, explained: Explained | None = None
    ) -> None:
        self.all_rows = np.arange(len(readings.wear)) if chosen is None else chosen
        part = np.unique(readings.part[self.all_rows], return_inverse=True)[1]
        self.blocks = blocks = Blocks.of(part, int(part.max(initial=-1)) + 1)
        self.guess, self.plain = gauge_guess, readings.plain[self.all_rows]
        away = readings.wear - readings.u
        if explained is not None:
            away = away - explained.middle
        u = readings.u[self.all_rows]
        self.u, self.away = blocks.spread(u), blocks.spread(away[self.all_rows])
        life = readings.life[self.all_rows]
        self.life = np.where(blocks.there > 0, life[np.maximum(blocks.row, 0)], -1)
        shifts = blocks.spread(readings.shifts[self.all_rows])
        there = blocks.there[:, :, None] * blocks.there[:, None, :]
        self.same = there * (self.life[:, :, None] == self.life[:, None, :])
        # The covariance is a weighted sum of these, which are the same for every choice.
        self.shifted = SHIFT_SD**2 * (shifts @ shifts.swapaxes(1, 2)) * there
        self.of_part = self.u[:, :, None] * self.u[:, None, :] * there
        self.of_life = self.of_part * self.same
        self.of_noise: dict[float, Floats] = {}
        self.unsure = None
        if explained is not None:
            factors = blocks.spread(explained.factors[self.all_rows])
            self.unsure = factors @ explained.covariance @ factors.swapaxes(1, 2)

    def _noise(self, length: float) -> Floats:
        """The covariance of noise of size 1."""
        if length not in self.of_noise:
            self.of_noise[length] = Noise(1.0, length).between(self.u, self.u) * self.same
        return self.of_noise[length]

    def covariance(self, error: Floats, *, noise: Noise, gauge: float, part: float, spread: float) -> Floats:
        error = error[self.all_rows]
        size = np.where(self.plain > 0, gauge**2 * error, error)
        own = self.blocks.spread(size, 1.0)
        out = part**2 * self.of_part
        out += spread**2 * self.of_life
        if noise.size:
            out += noise.size * self._noise(noise.length)
        out += self.shifted
        diagonal = np.arange(own.shape[1])
        out[:, diagonal, diagonal] += own
        return np.asarray(out)

    def height(self, error: Floats, *, noise: Noise, gauge: float, part: float, spread: float) -> float:
        """The logarithm of the posterior density, up to a constant."""
        covariance = self.covariance(error, noise=noise, gauge=gauge, part=part, spread=spread)
        root = np.linalg.cholesky(covariance)
        z = np.linalg.solve(root, self.away[:, :, None])[:, :, 0]
        likely = -0.5 * float((z**2).sum()) - float(np.log(np.diagonal(root, axis1=1, axis2=2)).sum())
        if self.unsure is not None:
            doubt = np.linalg.solve(covariance, self.unsure)
            likely -= 0.5 * float(np.trace(doubt, axis1=1, axis2=2).sum())
        likely -= 0.5 * GAUGE_STRENGTH * (2 * np.log(gauge) + (self.guess / gauge) ** 2)
        likely -= 0.5 * PART_STRENGTH * (2 * np.log(part) + (SPREAD_GUESS / part) ** 2)
        return float(likely - spread / LIFE_SCALE - np.sqrt(noise.size) / NOISE_SCALE)

    def doubts(
        self, error: Floats, *, noise: Noise, gauge: float, part: float, spread: float
    ) -> tuple[Floats, Floats]:
        """The error of each gauge anew, in gauge errors squared, from how far it is off what all others of
        its part let expect; and that distance in standard deviations. Rows that aren't used stay."""
        error, loose = error.copy(), np.zeros(len(error))
        there = self.blocks.there > 0
        row = self.all_rows[self.blocks.row[there]]
        plain = self.plain[self.blocks.row[there]] > 0
        for _ in range(3):
            inverse = np.linalg.inv(
                self.covariance(error, noise=noise, gauge=gauge, part=part, spread=spread)
            )
            scale = np.diagonal(inverse, axis1=1, axis2=2)
            away = ((inverse @ self.away[:, :, None])[:, :, 0] / scale)[there]
            variance = (1.0 / scale)[there]
            known = np.maximum(variance - np.where(plain, gauge**2 * error[row], 0.0), 0.0)
            sound = known + gauge**2
            slip = known + gross(gauge) ** 2
            odds = SLIP_SHARE / (1 - SLIP_SHARE) * np.sqrt(sound / slip)
            # A slip has no bound: the tail is Cauchy's, so that none pulls without limit.
            odds = odds * np.exp(np.minimum(0.5 * away**2 / sound, 500.0)) / (1.0 + away**2 / slip)
            believed = 1.0 / (1.0 + odds)
            big = (slip + away**2) / gauge**2
            loose[row] = np.abs(away) / np.sqrt(sound)
            error[row] = np.where(plain, 1.0 / (believed + (1.0 - believed) / big), error[row])
        return error, loose


def least_squares(readings: Readings, wander: Wander, factors: Floats) -> tuple[Floats, Floats]:
    """Information (K, K) on what the readings follow by `factors` (N, K), and its gradient (K,) at 0."""
    size = factors.shape[1]
    if not len(readings.wear):
        return np.zeros((size, size)), np.zeros(size)
    search = _Search(readings, None, 1.0)
    covariance = search.covariance(
        wander.error, noise=wander.noise, gauge=wander.gauge_sd, part=wander.part, spread=wander.life
    )
    known = np.concatenate([search.blocks.spread(factors), search.away[:, :, None]], axis=2)
    solved = np.linalg.solve(covariance, known)
    flat = known.reshape(-1, size + 1)
    total = flat.T @ solved.reshape(flat.shape)
    return total[:-1, :-1], total[:-1, -1]
