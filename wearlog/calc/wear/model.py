"""Fit a fleet: the mode of everything that is not known, and how sure it is.

Per type: a rate per crop, the shape of wear over a life, the size of gauge errors. Per part: a multiplier,
and a smaller one for each of its lives (edges, rebuilds), and the shifts by polishing. Types share what a
bend looks like and how large the spreads are. The mode is found by Gauss-Newton steps; the spreads by
expectation-maximisation beside them, each with a prior that counts like a few observations, so that a fleet
of one part has a sane answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import special

from wearlog.calc.wear import shape
from wearlog.calc.wear.lives import AT_LEAST, BELOW, PLAIN, WORN_OUT, Rows
from wearlog.calc.wear.records import Floats

# A reading is off by the gauge's error or, as often as the share says, a gross slip: then by SLIP_SIZE times
# as much. With these two a reading up to three standard deviations off still pulls the line its way.
SLIP_SHARE, SLIP_SIZE = 0.01, 10.0
# While the first steps look for the lines, readings count as Student-t with few degrees of freedom: with
# rates that are still wrong, the slips can't be told from the rest.
SEARCH_STEPS, SEARCH_DOF = 10, 4.0
CROP_SD = 0.6  # of the log rates of crops about the type's
SHARED_BEND = 0.8  # correlation of the bends of two types
SHIFT_SD = 0.5  # of a shift, in parts of the budget
# What is believed of the spreads before any record, and how many observations each belief counts for.
GAUGE_STRENGTH, SPREAD_STRENGTH, LIFE_STRENGTH, WORN_STRENGTH, BEND_STRENGTH = 6.0, 4.0, 1.0, 2.0, 1.0
SPREAD_GUESS, LIFE_GUESS, WORN_GUESS, BEND_GUESS = 0.2, 0.02, 0.02, 0.2
LEAST_BEND = 0.02
STEPS = 60
WIDEST = 5.0  # logarithm of any rate, slope or multiplier against what was believed: beyond is a typing error
CALM = 0.6  # of each later step: where slopes change at a knot, full steps may go to and fro for ever
STILL = 0.01  # a step, in standard deviations or in parts of a spread, below which nothing moves any more

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Problem:
    """One type: its rows, the wear from new to limit, and what is believed of the rate beforehand."""

    rows: Rows
    budget: float
    log_rate: float
    log_rate_sd: float
    gauge_guess: float


@dataclass
class Spreads:
    """What is learned beside the mode: of the log multipliers of parts, and of the lives of one part; of the
    wear at which edges are retired as worn about limit + `worn_at`, in parts of the budget; of h."""

    part: float = SPREAD_GUESS
    life: float = LIFE_GUESS
    worn: float = WORN_GUESS
    worn_at: float = 0.0
    bend: float = BEND_GUESS


@dataclass(frozen=True)
class Posterior:
    """Normal approximation at the mode for one type.

    globals: log rates, then h; `covariance` is theirs. Locals of each part (log multipliers of its lives,
    then shifts), given the globals: mean local + slope @ (globals - mode), covariance local_cov.
    """

    log_rates: Floats
    h: Floats
    covariance: Floats
    local: Floats
    slope: Floats
    local_cov: Floats
    gauge_sd: float
    spreads: Spreads
    # Of each row, at the mode: how the likelihood leans and bends by its wear, the wear by work, and its
    # derivative by the globals.
    score: Floats
    weight: Floats
    worn: Floats
    by_global: Floats


def log_likelihood(rows_kind: Ints, away: Floats) -> Floats:
    """Of readings that are `away` from the wear, in gauge errors (up to a constant); kinds along the last
    axis. A pin says only on which side the wear is."""
    sound = np.log1p(-SLIP_SHARE) - 0.5 * away**2
    slip = math.log(SLIP_SHARE / SLIP_SIZE) - 0.5 * (away / SLIP_SIZE) ** 2
    out = np.logaddexp(sound, slip)
    out = np.where(rows_kind == AT_LEAST, special.log_ndtr(-away), out)
    return np.asarray(np.where(rows_kind == BELOW, special.log_ndtr(away), out))


@dataclass
class _State:
    """A type while it is being fitted."""

    problem: Problem
    a: Floats
    h: Floats
    local: Floats
    own: Floats
    gauge_sd: float
    life_used: Floats
    inverse: Floats = field(default_factory=lambda: np.zeros(0))
    gain: Floats = field(default_factory=lambda: np.zeros(0))
    by_global: Floats = field(default_factory=lambda: np.zeros(0))
    wear: Floats = field(default_factory=lambda: np.zeros(0))
    robust: Floats = field(default_factory=lambda: np.zeros(0))
    score: Floats = field(default_factory=lambda: np.zeros(0))
    weight: Floats = field(default_factory=lambda: np.zeros(0))
    g_l: Floats = field(default_factory=lambda: np.zeros(0))


def fit(problems: list[Problem]) -> list[Posterior]:
    """Posteriors in the order of the problems."""
    states = [_start(problem) for problem in problems]
    spreads = Spreads()
    mean = np.concatenate([np.r_[np.full(len(s.a), s.problem.log_rate), np.zeros_like(s.h)] for s in states])
    ends = np.cumsum([len(s.a) + len(s.h) for s in states])
    blocks = [slice(end - len(s.a) - len(s.h), end) for s, end in zip(states, ends, strict=True)]
    bends = _Bends(problems)
    covariance = np.zeros((len(mean), len(mean)))
    for turn in range(STEPS):
        prior = bends.precision(spreads.bend)
        hessian = prior.copy()
        now = np.concatenate([np.r_[s.a, s.h] for s in states])
        gradient = prior @ (mean - now)
        for state, block in zip(states, blocks, strict=True):
            h_gg, g_g = _curvature(state, spreads, turn < SEARCH_STEPS)
            hessian[block, block] += h_gg
            gradient[block] += g_g
        covariance = _inverse(hessian)
        step = covariance @ gradient
        full = 1.0 if turn < SEARCH_STEPS else CALM
        scale = min(full, 0.7 / max(float(np.max(np.abs(step), initial=0.0)), 1e-12))
        before = np.array([*vars(spreads).values(), *(s.gauge_sd for s in states)])
        for state, block in zip(states, blocks, strict=True):
            _learn_gauge(state, covariance[block, block])
        _learn_spreads(states, [covariance[block, block] for block in blocks], spreads)
        spreads.bend = bends.size(now, covariance, spreads.bend)
        after = np.array([*vars(spreads).values(), *(s.gauge_sd for s in states)])
        moved = float(np.max(np.abs(step) / np.sqrt(np.diagonal(covariance)), initial=0.0))
        for state, block in zip(states, blocks, strict=True):
            moved = max(moved, _move(state, step[block], scale))
        learned = float(np.max(np.abs(after - before) / np.maximum(np.abs(after), 0.05)))
        if turn > SEARCH_STEPS and moved < STILL and learned < STILL:
            break
    return [
        Posterior(
            log_rates=s.a,
            h=s.h,
            covariance=covariance[block, block],
            local=s.local,
            slope=-s.gain,
            local_cov=s.inverse,
            gauge_sd=s.gauge_sd,
            spreads=spreads,
            score=s.score,
            weight=s.weight,
            worn=s.own[np.arange(len(s.own)), s.problem.rows.life],
            by_global=s.by_global,
        )
        for s, block in zip(states, blocks, strict=True)
    ]


class _Bends:
    """The prior of all log rates and bends together, for any size of bends."""

    def __init__(self, problems: list[Problem]) -> None:
        types = len(problems)
        together = np.full((types, types), SHARED_BEND) + (1.0 - SHARED_BEND) * np.eye(types)
        bends = np.kron(np.linalg.inv(together), np.linalg.inv(shape.prior_covariance()))
        sizes = [p.rows.kg.shape[1] + shape.POINTS for p in problems]
        self.rates = np.zeros((sum(sizes), sum(sizes)))
        self.bends = np.zeros_like(self.rates)
        where: list[int] = []
        for problem, begin in zip(problems, np.cumsum([0, *sizes[:-1]]), strict=True):
            crops = problem.rows.kg.shape[1]
            rates = problem.log_rate_sd**2 * np.ones((crops, crops)) + CROP_SD**2 * np.eye(crops)
            self.rates[begin : begin + crops, begin : begin + crops] = np.linalg.inv(rates)
            where.extend(range(begin + crops, begin + crops + shape.POINTS))
        self.bends[np.ix_(where, where)] = bends
        self.count = len(where)

    def precision(self, bend: float) -> Floats:
        return self.rates + self.bends / bend**2

    def size(self, now: Floats, covariance: Floats, bend: float) -> float:
        """A better size, from how far h is from 0 in the directions that the records tell about (their number
        is what the posterior is narrower than the prior). Entries of `now` that are no bends don't count."""
        told = max(self.count - float((self.bends * covariance).sum()) / bend**2, 0.0)
        found = max(float(now @ self.bends @ now), 0.0) + BEND_STRENGTH * BEND_GUESS**2
        # Half the way (on a logarithmic scale), since a full step may overshoot.
        return max(math.sqrt(bend * math.sqrt(found / (told + BEND_STRENGTH))), LEAST_BEND)


def _start(problem: Problem) -> _State:
    rows = problem.rows
    size = rows.lives + rows.shifts.shape[1]
    own = np.zeros((len(rows.part), size))
    own[:, rows.lives :] = rows.shifts
    used = np.zeros((rows.parts, rows.lives))
    used[rows.part, rows.life] = 1.0
    return _State(
        problem=problem,
        a=np.full(rows.kg.shape[1], problem.log_rate),
        h=np.zeros(shape.POINTS),
        local=np.zeros((rows.parts, size)),
        own=own,
        gauge_sd=problem.gauge_guess,
        life_used=used,
    )


def _local_prior(state: _State, spreads: Spreads) -> Floats:
    lives, size = state.problem.rows.lives, state.local.shape[1]
    covariance = np.zeros((size, size))
    covariance[:lives, :lives] = spreads.part**2
    covariance[range(lives), range(lives)] += spreads.life**2
    covariance[range(lives, size), range(lives, size)] = (SHIFT_SD * state.problem.budget) ** 2
    return np.asarray(np.linalg.inv(covariance), dtype=float)


def _inverse(matrices: Floats) -> Floats:
    """Of symmetric matrices that should be positive, however unequal their scales. Where records that
    contradict each other wildly have cost the last digit, directions that nothing bounds are kept bounded."""
    diagonal = np.diagonal(matrices, axis1=-2, axis2=-1)
    scale = 1.0 / np.sqrt(np.maximum(diagonal, 1e-12 * diagonal.max(axis=-1, keepdims=True, initial=1e-30)))
    scale = scale[..., :, None] * scale[..., None, :]
    alike = matrices * scale + 1e-11 * np.eye(matrices.shape[-1])
    try:
        np.linalg.cholesky(alike)
        inverse = np.linalg.inv(alike)
    except np.linalg.LinAlgError:
        values, vectors = np.linalg.eigh(alike)
        inverse = (vectors / np.maximum(values, 1e-8)[..., None, :]) @ np.swapaxes(vectors, -1, -2)
    inverse = inverse * scale
    return np.asarray(0.5 * (inverse + np.swapaxes(inverse, -1, -2)))


def _curvature(state: _State, spreads: Spreads, search: bool) -> tuple[Floats, Floats]:
    """Hessian and gradient of the globals of a type with the locals taken out."""
    rows, budget = state.problem.rows, state.problem.budget
    grown = np.exp(state.a) * rows.kg / budget
    g, slope, by_h = shape.value(state.h, grown.sum(axis=1))
    scale = np.exp(state.local[rows.part, rows.life]) * budget
    worn = scale * g
    state.wear = worn + (rows.shifts * state.local[rows.part, rows.lives :]).sum(axis=1)
    state.score, state.weight, state.robust = score, weight, _ = _pull(state, spreads, search)
    state.own[np.arange(len(worn)), rows.life] = worn
    state.by_global = np.concatenate([(scale * slope)[:, None] * grown, scale[:, None] * by_h], axis=1)
    prior = _local_prior(state, spreads)
    h_ll = np.tile(prior, (rows.parts, 1, 1))
    h_lg = np.zeros((rows.parts, len(prior), state.by_global.shape[1]))
    state.g_l = -state.local @ prior
    weighted = state.own * weight[:, None]
    np.add.at(h_ll, rows.part, weighted[:, :, None] * state.own[:, None, :])
    np.add.at(h_lg, rows.part, weighted[:, :, None] * state.by_global[:, None, :])
    np.add.at(state.g_l, rows.part, state.own * score[:, None])
    state.inverse = _inverse(h_ll)
    state.gain = state.inverse @ h_lg
    h_gg = (state.by_global * weight[:, None]).T @ state.by_global
    flat = state.gain.reshape(-1, state.gain.shape[2])
    h_gg -= h_lg.reshape(flat.shape).T @ flat
    g_g = state.by_global.T @ score - state.g_l.ravel() @ flat
    return h_gg, g_g


def _target_and_sd(state: _State, spreads: Spreads) -> tuple[Floats, Floats]:
    rows, budget = state.problem.rows, state.problem.budget
    ended = rows.kind == WORN_OUT
    target = rows.wear + np.where(ended, spreads.worn_at * budget, 0.0)
    return target, np.where(ended, spreads.worn * budget, state.gauge_sd)


def _pull(state: _State, spreads: Spreads, search: bool) -> tuple[Floats, Floats, Floats]:
    """By the wear: first derivative of the log likelihood, a positive weight for its curvature, and the part
    of a full observation that each row counts for."""
    rows = state.problem.rows
    target, sd = _target_and_sd(state, spreads)
    away = (target - state.wear) / sd
    if search:
        robust = (SEARCH_DOF + 1.0) / (SEARCH_DOF + away**2)
    else:
        slip = SLIP_SHARE / SLIP_SIZE * np.exp(0.5 * np.minimum(away**2, 1e3) * (1.0 - SLIP_SIZE**-2))
        sound = (1.0 - SLIP_SHARE) / (1.0 - SLIP_SHARE + slip)
        robust = sound + (1.0 - sound) / SLIP_SIZE**2
    score = robust * away / sd
    weight = robust / sd**2
    for kind, side in ((AT_LEAST, 1.0), (BELOW, -1.0)):
        pins = rows.kind == kind
        if pins.any():
            z = np.clip(-side * away[pins], -1e3, 1e3)
            mills = np.exp(-0.5 * z**2 - special.log_ndtr(z)) / np.sqrt(2 * np.pi)
            score[pins] = side * mills / sd[pins]
            weight[pins] = np.maximum(mills * (mills + z), 1e-6) / sd[pins] ** 2
    return score, weight, robust


def _move(state: _State, step: Floats, scale: float) -> float:
    """Take the step; returns the largest move of a log multiplier in standard deviations."""
    crops, lives = len(state.a), state.problem.rows.lives
    local = (state.inverse @ state.g_l[:, :, None])[:, :, 0] - state.gain @ step
    local[:, :lives] = np.clip(local[:, :lives], -0.7, 0.7)
    middle, budget = state.problem.log_rate, state.problem.budget
    state.a = np.clip(state.a + scale * step[:crops], middle - WIDEST, middle + WIDEST)
    state.h = np.clip(state.h + scale * step[crops:], -WIDEST, WIDEST)
    state.local = state.local + scale * local
    state.local[:, :lives] = np.clip(state.local[:, :lives], -WIDEST, WIDEST)
    state.local[:, lives:] = np.clip(state.local[:, lives:], -WIDEST * budget, WIDEST * budget)
    sd = np.sqrt(np.diagonal(state.inverse, axis1=1, axis2=2))
    return float(np.max(np.abs(local) / sd, initial=0.0))


def _variance(state: _State, covariance: Floats, rows: Ints) -> Floats:
    """Posterior variance of the wear of the chosen rows."""
    part = state.problem.rows.part[rows]
    own = state.own[rows][:, None, :]
    outer = state.by_global[rows] - (own @ state.gain[part])[:, 0]
    given = (own @ state.inverse[part] * own)[:, 0].sum(axis=1)
    return np.asarray(np.maximum(given + (outer @ covariance * outer).sum(axis=1), 0.0))


def _learn_gauge(state: _State, covariance: Floats) -> None:
    rows = state.problem.rows
    plain = np.flatnonzero(rows.kind == PLAIN)
    away = (rows.wear - state.wear)[plain] ** 2 + _variance(state, covariance, plain)
    found = (state.robust[plain] * away).sum() + GAUGE_STRENGTH * state.problem.gauge_guess**2
    sd = math.sqrt(found / (len(plain) + GAUGE_STRENGTH))
    state.gauge_sd = min(sd, state.problem.budget)


def _learn_spreads(states: list[_State], covariances: list[Floats], spreads: Spreads) -> None:
    part, parts = 0.0, 0.0
    life, lives = 0.0, 0.0
    worn, worn_at, ended_count = 0.0, 0.0, 0
    for state, covariance in zip(states, covariances, strict=True):
        rows, size = state.problem.rows, state.problem.rows.lives
        if not size:
            continue
        total = state.inverse + state.gain @ covariance @ np.swapaxes(state.gain, 1, 2)
        total, mode = total[:, :size, :size], state.local[:, :size]
        prior = spreads.part**2 * np.ones((size, size)) + spreads.life**2 * np.eye(size)
        c = np.linalg.solve(prior, np.full(size, spreads.part**2))
        rest = spreads.part**2 * (1.0 - c.sum())
        seen = state.life_used.any(axis=1)
        common = mode @ c
        part += float((common**2 + np.einsum("pij,i,j->p", total, c, c) + rest)[seen].sum())
        parts += float(seen.sum())
        between = np.eye(size) - c
        apart = (mode - common[:, None]) ** 2 + np.einsum("pij,li,lj->pl", total, between, between) + rest
        several = state.life_used * (state.life_used.sum(axis=1) > 1)[:, None]
        life += float((apart * several).sum())
        lives += float(several.sum())
        ended = np.flatnonzero(rows.kind == WORN_OUT)
        away = (rows.wear - state.wear)[ended] / -state.problem.budget
        robust = state.robust[ended]
        worn_at += float((robust * away).sum())
        worn += float((robust * ((away - spreads.worn_at) ** 2)).sum())
        worn += float((robust * _variance(state, covariance, ended)).sum()) / state.problem.budget**2
        ended_count += len(ended)
    part, life = max(part, 0.0), max(life, 0.0)
    part = math.sqrt((part + SPREAD_STRENGTH * SPREAD_GUESS**2) / (parts + SPREAD_STRENGTH))
    life = math.sqrt((life + LIFE_STRENGTH * LIFE_GUESS**2) / (lives + LIFE_STRENGTH))
    worn = math.sqrt((worn + WORN_STRENGTH * WORN_GUESS**2) / (ended_count + WORN_STRENGTH))
    spreads.part, spreads.life, spreads.worn = min(part, 1.0), min(life, 1.0), min(worn, 1.0)
    spreads.worn_at = min(max(worn_at / (ended_count + WORN_STRENGTH), -0.5), 0.5)
