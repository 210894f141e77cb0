"""Wear that wanders: what readings say when a part's wear is no straight line along its progress.

    wear(u) = theta * budget * u + budget * B(u) + shifts + error

u = G(progress / budget) runs from 0 (new) to 1 (the limit of an average edge), theta is the multiplier of the
life, and B a Wiener process of variance `noise` * u: what seed, feeding and chance do to one edge alone. With
it the last believed readings count most, and more readings make a forecast better and not only surer. The
size of the noise, the gauge's error and the spread of multipliers are those of the highest posterior density,
the noise averaged over a grid that holds zero. The rates and the shape are then moved by one step of
generalised least squares, since readings of one edge that wander together say less of them than as many
readings of many edges.

Whitmore and Schenkelberg, "Modelling accelerated degradation data using Wiener diffusion with a time scale
transformation", Lifetime Data Analysis 3, 1997 (from memory): drift, scale u, and errors of measurement.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearlog.calc.wear.lives import Ints
from wearlog.calc.wear.records import Floats
from wearlog.calc.wear.state import SHIFT_SD, SPREAD_GUESS

# Noise, and factors of the gauge's error and of the spread of parts, that are tried; and spreads of lives.
NOISES = np.array([0.0, 0.0005, 0.001, 0.002, 0.004, 0.008, 0.015, 0.03, 0.06, 0.12])
NOISE_GUESS = 0.01
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
    """How the wear of one type's edges strays, in budgets: the variance `noise` of a whole life, the gauge's
    error, and the spreads of multipliers between parts and between the lives of one part."""

    noise: float
    gauge_sd: float
    part: float
    life: float
    error: Floats  # variance of each row's error, for all rows
    loose: Floats  # how far off each row is, in standard deviations of what the others let expect


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


def between(
    u: Floats, life: Ints, other_u: Floats, other_life: Ints, *, noise: float, part: float, spread: float
) -> Floats:
    """Prior covariance of the wear (in budgets) at u and at other_u: shapes (..., n) and (..., m)."""
    same = life[..., :, None] == other_life[..., None, :]
    scaled = u[..., :, None] * other_u[..., None, :] * (part**2 + spread**2 * same)
    return np.asarray(scaled + noise * same * np.minimum(u[..., :, None], other_u[..., None, :]))


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

    def some_parts(self, most: int) -> Readings:
        """These, or those of at most so many parts, evenly chosen: enough to learn a few spreads from."""
        if self.parts <= most:
            return self
        chosen = np.unique(np.linspace(0, self.parts - 1, most).astype(np.int64))
        rows = np.isin(self.part, chosen)
        each = {name: value[rows] for name, value in vars(self).items() if name != "parts"}
        each["part"] = np.searchsorted(chosen, each["part"])
        return Readings(**each, parts=len(chosen))


def stray(
    readings: Readings, *, gauge_sd: float, gauge_guess: float, part: float, life: float, trend: float = 0.0
) -> Wander:
    """How the wear of a type's edges strays. The arguments are in budgets, and where the search begins."""
    if not len(readings.wear):
        return Wander(NOISE_GUESS, gauge_sd, part, life, np.zeros(0), np.zeros(0))
    few = readings.some_parts(MOST_PARTS)
    search = _Search(few, Blocks.of(few.part, few.parts), gauge_guess, trend)
    best = {"noise": NOISE_GUESS, "gauge": gauge_sd, "part": part, "spread": life}
    error = few.error.copy()
    for _ in range(SWEEPS):
        error, _loose = search.doubts(error, **best)
        lives = np.unique(np.append(LIVES, life))
        choices = {"gauge": gauge_sd * GAUGES, "part": part * PARTS, "spread": lives}
        for name, values in choices.items():
            heights = [search.height(error, **(best | {name: float(value)})) for value in values]
            best[name] = float(values[int(np.argmax(heights))])
        heights_of_noise = np.array([search.height(error, **(best | {"noise": q})) for q in NOISES])
        chance = np.exp(heights_of_noise - heights_of_noise.max())
        best["noise"] = float(chance @ NOISES / chance.sum())
    search = _Search(readings, Blocks.of(readings.part, readings.parts), gauge_guess, trend)
    error, loose = search.doubts(readings.error, **best)
    return Wander(best["noise"], best["gauge"], best["part"], best["spread"], error, loose)


class _Search:
    """The readings of each part side by side, with the covariance that any choice of spreads gives them."""

    def __init__(self, readings: Readings, blocks: Blocks, gauge_guess: float, trend: float = 0.0) -> None:
        self.readings, self.blocks, self.guess = readings, blocks, gauge_guess
        usual = readings.u * (1.0 + trend * readings.rebuilt)
        self.u, self.away = blocks.spread(readings.u), blocks.spread(readings.wear - usual)
        self.life = np.where(blocks.there > 0, readings.life[np.maximum(blocks.row, 0)], -1)
        shifts = blocks.spread(readings.shifts)
        there = blocks.there[:, :, None] * blocks.there[:, None, :]
        same = there * (self.life[:, :, None] == self.life[:, None, :])
        # The covariance is a weighted sum of these, which are the same for every choice.
        self.shifted = SHIFT_SD**2 * (shifts @ shifts.swapaxes(1, 2)) * there
        self.of_part = self.u[:, :, None] * self.u[:, None, :] * there
        self.of_life = self.of_part * same
        self.of_noise = np.minimum(self.u[:, :, None], self.u[:, None, :]) * same

    def covariance(self, error: Floats, *, noise: float, gauge: float, part: float, spread: float) -> Floats:
        size = np.where(self.readings.plain > 0, gauge**2 * error, error)
        own = self.blocks.spread(size, 1.0)
        out = part**2 * self.of_part
        out += spread**2 * self.of_life
        out += noise * self.of_noise
        out += self.shifted
        diagonal = np.arange(own.shape[1])
        out[:, diagonal, diagonal] += own
        return np.asarray(out)

    def height(self, error: Floats, *, noise: float, gauge: float, part: float, spread: float) -> float:
        """The logarithm of the posterior density, up to a constant."""
        root = np.linalg.cholesky(self.covariance(error, noise=noise, gauge=gauge, part=part, spread=spread))
        z = np.linalg.solve(root, self.away[:, :, None])[:, :, 0]
        likely = -0.5 * float((z**2).sum()) - float(np.log(np.diagonal(root, axis1=1, axis2=2)).sum())
        likely -= 0.5 * GAUGE_STRENGTH * (2 * np.log(gauge) + (self.guess / gauge) ** 2)
        likely -= 0.5 * PART_STRENGTH * (2 * np.log(part) + (SPREAD_GUESS / part) ** 2)
        return float(likely - spread / LIFE_SCALE - np.sqrt(noise) / NOISE_SCALE)

    def doubts(
        self, error: Floats, *, noise: float, gauge: float, part: float, spread: float
    ) -> tuple[Floats, Floats]:
        """The error of each gauge anew, in gauge errors squared, from how far it is off what all others of
        its part let expect; and that distance in standard deviations."""
        loose = np.zeros(len(error))
        for _ in range(3):
            inverse = np.linalg.inv(
                self.covariance(error, noise=noise, gauge=gauge, part=part, spread=spread)
            )
            scale = np.diagonal(inverse, axis1=1, axis2=2)
            apart = ((inverse @ self.away[:, :, None])[:, :, 0] / scale)[self.blocks.there > 0]
            others = (1.0 / scale)[self.blocks.there > 0]
            row = self.blocks.row[self.blocks.there > 0]
            away, variance = np.empty(len(error)), np.empty(len(error))
            away[row], variance[row] = apart, others
            known = np.maximum(variance - np.where(self.readings.plain > 0, gauge**2 * error, 0.0), 0.0)
            sound = known + gauge**2
            slip = known + gross(gauge) ** 2
            odds = SLIP_SHARE / (1 - SLIP_SHARE) * np.sqrt(sound / slip)
            # A slip has no bound: the tail is Cauchy's, so that none pulls without limit.
            odds = odds * np.exp(np.minimum(0.5 * away**2 / sound, 500.0)) / (1.0 + away**2 / slip)
            believed = 1.0 / (1.0 + odds)
            big = (slip + away**2) / gauge**2
            loose = np.abs(away) / np.sqrt(sound)
            error = np.where(self.readings.plain > 0, 1.0 / (believed + (1.0 - believed) / big), error)
        return error, loose


def least_squares(readings: Readings, wander: Wander, slopes: Floats) -> tuple[Floats, Floats]:
    """Information (G + 1, G + 1) on the globals and the trend of rebuilt lives, and the gradient (G + 1,) at
    no trend, from all rows; `slopes` (N, G) are the derivatives of u by the globals."""
    columns = np.concatenate([slopes, (readings.u * readings.rebuilt)[:, None]], axis=1)
    if not len(readings.wear):
        return np.zeros((columns.shape[1],) * 2), np.zeros(columns.shape[1])
    blocks = Blocks.of(readings.part, readings.parts)
    search = _Search(readings, blocks, 1.0)
    covariance = search.covariance(
        wander.error, noise=wander.noise, gauge=wander.gauge_sd, part=wander.part, spread=wander.life
    )
    known = np.concatenate([blocks.spread(columns), search.away[:, :, None]], axis=2)
    solved = np.linalg.solve(covariance, known)
    flat = known.reshape(-1, known.shape[2])
    total = flat.T @ solved.reshape(flat.shape)
    return total[:-1, :-1], total[:-1, -1]
