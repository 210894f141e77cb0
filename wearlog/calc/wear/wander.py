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

from wearlog.calc.wear.density import Lives, Products, as_few
from wearlog.calc.wear.lives import Ints
from wearlog.calc.wear.noise import Noise
from wearlog.calc.wear.records import Floats
from wearlog.calc.wear.slips import AMONG_OTHERS, gross
from wearlog.calc.wear.state import SPREAD_GUESS

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
    before: Wander | None = None,
) -> Wander:
    """How the wear of a type's edges strays. The sizes are in budgets, and about which the search goes; it
    begins with them, or with what was found `before`.

    With `explained`, spreads are those of what it leaves (the maximisation of an expectation-maximisation
    step: what is not sure of it counts as spread too)."""
    if not len(readings.wear):
        return Wander(NOISE_GUESS, gauge_sd, part, life, np.zeros(0), np.zeros(0))
    few = readings.parts_chosen(MOST_PARTS)
    search = _Search(readings, few, gauge_guess, explained)
    noise, best = NOISE_GUESS, {"gauge": gauge_sd, "part": part, "spread": life}
    error = readings.error.copy()
    if before is not None:
        noise, best = before.noise, {"gauge": before.gauge_sd, "part": before.part, "spread": before.life}
    lives = np.unique(np.append(LIVES, life))
    gauges, parts = gauge_sd * GAUGES, part * PARTS
    for _ in range(SWEEPS if before is None else 1):
        error, _loose = search.doubts(error, noise=noise, **best)
        noise = _likeliest(search, error, best, LENGTHS[:1])
        told = search.told(error, sizes=noise.size, length=noise.length, gauges=gauges)
        chosen = int(np.argmax(search.heights(told, best["part"], best["spread"]) + search.of_gauge(gauges)))
        best["gauge"], told = float(gauges[chosen]), told.choice(chosen)
        best["part"] = float(parts[int(np.argmax(search.heights(told, parts, best["spread"])))])
        best["spread"] = float(lives[int(np.argmax(search.heights(told, best["part"], lives)))])
    # Last, since a gauge's error that is still wrong looks like a pace with a memory, or without one.
    noise = _likeliest(search, error, best, LENGTHS)
    if few is not None:
        search = _Search(readings, None, gauge_guess, explained)
    error, loose = search.doubts(readings.error, noise=noise, **best)
    return Wander(noise, best["gauge"], best["part"], best["spread"], error, loose)


def _likeliest(search: _Search, error: Floats, best: dict[str, float], lengths: tuple[float, ...]) -> Noise:
    """The likeliest of the lengths, and the mean size with it."""
    heights = np.empty((len(lengths), len(NOISES)))
    for index, each in enumerate(lengths):
        told = search.told(error, sizes=NOISES, length=each, gauges=best["gauge"])
        heights[index] = search.heights(told, best["part"], best["spread"]) - np.sqrt(NOISES) / NOISE_SCALE
    chance = np.exp(heights - heights.max())
    length = int(np.argmax(LENGTH_CHANCES[: len(lengths)] * chance.sum(axis=1)))
    chance = chance[length] / chance[length].sum()
    size = float(chance @ NOISES)
    return Noise(size, lengths[length] if size > 0 else 0.0)


class _Search:
    """The readings side by side by life, and the density that any choice of spreads gives them. chosen: the
    rows to use (None: all)."""

    def __init__(
        self, readings: Readings, chosen: Ints | None, gauge_guess: float, explained: Explained | None = None
    ) -> None:
        rows = self.rows = np.arange(len(readings.wear)) if chosen is None else chosen
        self.readings, self.guess = readings, gauge_guess
        self.lives = Lives.of(
            readings.part[rows], readings.life[rows], readings.u[rows], readings.shifts[rows]
        )
        self.plain = readings.plain[rows] > 0
        known = (readings.wear - readings.u)[rows, None]
        if explained is not None:
            # What is not sure of the explained is F S F'; for F, and a root of S, columns stand here.
            values, vectors = np.linalg.eigh(explained.covariance)
            unsure = explained.factors[rows] @ (vectors * np.sqrt(np.maximum(values, 0.0)))
            known = known - explained.middle[rows, None]
            known = np.concatenate([known, as_few(unsure, readings.part[rows])], axis=1)
        self.known = self.lives.spread(known)

    def told(
        self, error: Floats, *, sizes: Floats | float, length: float, gauges: Floats | float
    ) -> Products:
        """What the readings tell for one or several sizes of noise, or errors of the gauge."""
        error, gauges = error[self.rows], np.asarray(gauges)[..., None]
        variances = np.where(self.plain, gauges**2 * error, error)
        errors = np.moveaxis(self.lives.spread(np.moveaxis(variances, -1, 0)), (0, 1), (-2, -1))
        return self.lives.told(np.asarray(sizes), length, errors, self.known)

    def heights(self, told: Products, part: Floats | float, spread: Floats | float) -> Floats:
        """The logarithm of the posterior density of each choice, up to a constant and the priors of the noise
        and the gauge."""
        squares, log_det = told.by_part(np.asarray(spread)).whole(np.asarray(part))
        likely = -0.5 * log_det - 0.5 * squares.sum(axis=-1)
        likely -= 0.5 * PART_STRENGTH * (2 * np.log(part) + (SPREAD_GUESS / part) ** 2)
        return np.asarray(likely - spread / LIFE_SCALE)

    def of_gauge(self, gauge: Floats) -> Floats:
        """The logarithm of the prior density of the gauge's error, up to a constant."""
        return np.asarray(-0.5 * GAUGE_STRENGTH * (2 * np.log(gauge) + (self.guess / gauge) ** 2))

    def doubts(
        self, error: Floats, *, noise: Noise, gauge: float, part: float, spread: float
    ) -> tuple[Floats, Floats]:
        """The error of each gauge anew, in gauge errors squared, from how far it is off what all others of
        its part let expect; and that distance in standard deviations. Rows that aren't used stay."""
        error, loose = error.copy(), np.zeros(len(error))
        there = self.lives.there
        place = self.lives.row[there]
        row, plain = self.rows[place], self.plain[place]
        for _ in range(3):
            used = error[self.rows]
            errors = self.lives.spread(np.where(self.plain, gauge**2 * used, used), 1.0)
            solved = self.lives.solved(noise, errors, self.known[:, :, :1], part=part, life=spread)
            precision, pulled = solved.alone()
            away = (pulled / precision)[there]
            variance = (1.0 / precision)[there]
            known = np.maximum(variance - np.where(plain, gauge**2 * error[row], 0.0), 0.0)
            sound = known + gauge**2
            slip = known + gross(gauge) ** 2
            odds = AMONG_OTHERS.share / (1 - AMONG_OTHERS.share) * np.sqrt(sound / slip)
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
    lives = Lives.of(readings.part, readings.life, readings.u, readings.shifts)
    errors = np.where(readings.plain > 0, wander.gauge_sd**2 * wander.error, wander.error)
    known = np.concatenate([factors, (readings.wear - readings.u)[:, None]], axis=1)
    solved = lives.solved(
        wander.noise, lives.spread(errors, 1.0), lives.spread(known), part=wander.part, life=wander.life
    )
    total = solved.information()
    return total[:-1, :-1], total[:-1, -1]
