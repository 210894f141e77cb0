"""Fits a fleet: the posterior mode of all parameters, and their uncertainty.

Per type: a rate for each crop, the shape of wear over a life, the size of gauge errors. Per part: a
multiplier, a smaller one for each of its lives (edges, rebuilds), and the shifts by polishing. Types share
the prior of the bend of their shapes and the sizes of the spreads. The mode is found by Gauss-Newton steps;
the spreads by expectation-maximisation alongside, each with a prior that counts like a few observations, so
that even a fleet of one part gives a sensible result.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wearlog.calc.wear import shape
from wearlog.calc.wear.harvests import ALIKE, Begun, Harvests, Settled, settle
from wearlog.calc.wear.lives import PLAIN
from wearlog.calc.wear.records import Floats
from wearlog.calc.wear.state import (
    BEND_GUESS,
    LIFE_GUESS,
    SPREAD_GUESS,
    WORN_GUESS,
    Spreads,
    State,
    TypeToFit,
    inverse,
)
from wearlog.calc.wear.wander import (
    GAUGE_STRENGTH,
    PART_STRENGTH,
    TREND_SD,
    Readings,
    Wander,
)

SEARCH_STEPS = 10  # the first steps, in which reading errors are treated as Student-t
CROP_SD = 0.4  # standard deviation of the log rates of crops about that of their type
SHARED_BEND = 0.8  # correlation of the bends of two types
# How many observations the prior of each spread counts for.
LIFE_STRENGTH, WORN_STRENGTH, BEND_STRENGTH = 1.0, 2.0, 1.0
LEAST_BEND, MOST_BEND = 0.02, 1.0  # a standard deviation of 1: slopes differ almost threefold
STEPS, FURTHER_STEPS = 60, 20  # at most; the second from a mode with other harvests, which is near
# Because slopes change at a knot, full steps may oscillate for ever. So a late step that reverses the one
# before it shortens the following steps by this factor, down to the least; other steps lengthen them up to
# full again.
CALM, LEAST_PACE = 0.65, 0.3
STILL = 0.02  # converged once steps (in standard deviations) and relative changes of spreads are below this
PLAIN_BLOCK, WORN_BLOCK = 0, 2
TURNS = 3


@dataclass(frozen=True)
class Posterior:
    """Normal approximation of one type's posterior at its mode.

    Globals are the log rates, then h, then the trend of rebuilt lives, with `covariance`; `step` is how far
    they moved from the mode of the type's own fit, about which `factors` (N, globals) tell how the wear of
    each row follows them, in budgets.
    """

    log_rates: Floats
    h: Floats
    trend: float
    step: Floats
    covariance: Floats
    gauge_sd: float
    spreads: Spreads
    factors: Floats
    wander: Wander
    harvests: Harvests
    readings: Readings


def fit(problems: list[TypeToFit]) -> list[Posterior]:
    """Fit all types together; one posterior for each problem, in the same order."""
    states, spreads = [State(problem) for problem in problems], Spreads()
    crop = problems[0].harvest_crop
    effect, settled = np.zeros(len(crop)), list[Settled]()
    for turn in range(TURNS):
        covariances = _mode(states, spreads, searching=turn == 0)
        begun = [_begun(state, spreads, own) for state, own in zip(states, covariances, strict=True)]
        settled = settle(begun, crop, effect, settled)
        found = settled[0].harvests
        if turn == TURNS - 1 or found.spread < ALIKE or np.abs(found.effect - effect).max() < ALIKE:
            break
        # Once more with seed that counts as its harvest wears: what is alike to all is no bend and no spread.
        effect = found.effect
        states = [state.with_harvests(effect) for state in states]
    return [
        _posterior(state, spreads, each, last)
        for state, each, last in zip(states, begun, settled, strict=True)
    ]


def _mode(states: list[State], spreads: Spreads, *, searching: bool) -> list[Floats]:
    """Move the states and spreads to the posterior's mode; the covariance of each type's globals there.
    searching: from far off, so that reading errors are treated as Student-t in the first steps."""
    problems = [state.problem for state in states]
    mean = np.concatenate([np.r_[np.full(len(s.a), s.problem.log_rate), np.zeros_like(s.h)] for s in states])
    ends = np.cumsum([len(s.a) + len(s.h) for s in states])
    blocks = [slice(end - len(s.a) - len(s.h), end) for s, end in zip(states, ends, strict=True)]
    bends = _Bends(problems)
    covariance = np.zeros((len(mean), len(mean)))
    last, full = np.zeros(len(mean)), 1.0
    search = SEARCH_STEPS if searching else 0
    for turn in range(STEPS if searching else FURTHER_STEPS):
        prior = bends.precision(spreads.bend)
        hessian = prior.copy()
        now = np.concatenate([np.r_[s.a, s.h] for s in states])
        gradient = prior @ (mean - now)
        for state, block in zip(states, blocks, strict=True):
            h_gg, g_g = state.curvature(spreads, turn < search)
            hessian[block, block] += h_gg
            gradient[block] += g_g
        covariance = inverse(hessian)
        step = covariance @ gradient
        relative = step / np.sqrt(np.diagonal(covariance))
        if turn > search:
            full = max(CALM * full, LEAST_PACE) if relative @ last < 0.0 else min(full / CALM, 1.0)
        last = relative
        scale = min(full, 0.7 / max(float(np.max(np.abs(step), initial=0.0)), 1e-12))
        before = np.array([*vars(spreads).values(), *(s.gauge_sd for s in states)])
        for state, block in zip(states, blocks, strict=True):
            _learn_gauge(state, covariance[block, block])
        _learn_spreads(states, [covariance[block, block] for block in blocks], spreads)
        if turn >= search:  # before, what is still wrong elsewhere would look like bends
            spreads.bend = bends.size(now, covariance, spreads.bend)
        after = np.array([*vars(spreads).values(), *(s.gauge_sd for s in states)])
        moved = float(np.max(np.abs(relative), initial=0.0))
        for state, block in zip(states, blocks, strict=True):
            moved = max(moved, state.move(step[block], scale))
        learned = float(np.max(np.abs(after - before) / np.maximum(np.abs(after), 0.05)))
        if turn > search and moved < STILL and learned < STILL:
            break
    return [covariance[block, block] for block in blocks]


def _begun(state: State, spreads: Spreads, covariance: Floats) -> Begun:
    """What was found of one type, in budgets."""
    problem, budget = state.problem, state.problem.budget
    rows = problem.rows
    information, pull = state.curvature(spreads, False)
    theta = np.exp(state.local[rows.part, rows.life])
    plain = rows.kind == PLAIN
    known = np.where(plain, rows.wear, state.wear + state.score / state.weight)
    readings = Readings(
        part=rows.part,
        life=rows.life,
        u=state.worn / (theta * budget),
        wear=known / budget,
        error=np.where(plain, state.robust**-1.0, 1.0 / state.weight / budget**2),
        plain=plain.astype(float),
        shifts=rows.shifts,
        rebuilt=rows.rebuilt,
        parts=rows.parts,
    )
    slopes = state.by_global / (theta * budget)[:, None]
    size = len(covariance)
    prior = np.zeros((size + 1, size + 1))
    prior[:size, :size] = _at_least(inverse(covariance) - information, _own_prior(problem, spreads.bend))
    prior[size, size] = TREND_SD**-2.0
    counted, seed = rows.harvest_kg * np.exp(state.effect), rows.kg[:, problem.harvest_crop]
    share = np.divide(counted, seed, out=np.zeros_like(seed), where=seed > 0)
    return Begun(
        readings=readings,
        prior=prior,
        pull=np.append(pull, 0.0),
        factors=np.concatenate([slopes, (readings.u * rows.rebuilt)[:, None]], axis=1),
        harvests=slopes[:, problem.harvest_crop] * share,
        spreads={
            "gauge_sd": state.gauge_sd / budget,
            "gauge_guess": problem.gauge_guess / budget,
            "part": spreads.part,
            "life": spreads.life,
        },
    )


def _own_prior(problem: TypeToFit, bend: float) -> Floats:
    """The prior precision of one type's globals without the other types."""
    crops = problem.rows.kg.shape[1]
    out = np.zeros((crops + shape.POINTS,) * 2)
    out[:crops, :crops] = np.linalg.inv(_prior_of_rates(problem))
    out[crops:, crops:] = np.linalg.inv(shape.prior_covariance()) / bend**2
    return out


def _prior_of_rates(problem: TypeToFit) -> Floats:
    crops = problem.rows.kg.shape[1]
    return np.asarray(problem.log_rate_sd**2 * np.ones((crops, crops)) + CROP_SD**2 * np.eye(crops))


def _at_least(precision: Floats, least: Floats) -> Floats:
    """A precision that other types can only add to: where rounding says less, the least."""
    values, vectors = np.linalg.eigh(precision - least)
    return np.asarray(least + (vectors * np.maximum(values, 0.0)) @ vectors.T)


def _posterior(state: State, spreads: Spreads, begun: Begun, settled: Settled) -> Posterior:
    crops = len(state.a)
    return Posterior(
        log_rates=state.a + settled.step[:crops],
        h=state.h + settled.step[crops:-1],
        trend=float(settled.step[-1]),
        step=settled.step,
        covariance=settled.covariance,
        gauge_sd=settled.wander.gauge_sd * state.problem.budget,
        spreads=spreads,
        factors=begun.factors,
        wander=settled.wander,
        harvests=settled.harvests,
        readings=begun.readings,
    )


class _Bends:
    """The joint prior precision of the log rates and bends of all types, for any size of bends."""

    def __init__(self, problems: list[TypeToFit]) -> None:
        types = len(problems)
        together = np.full((types, types), SHARED_BEND) + (1.0 - SHARED_BEND) * np.eye(types)
        bends = np.kron(np.linalg.inv(together), np.linalg.inv(shape.prior_covariance()))
        sizes = [p.rows.kg.shape[1] + shape.POINTS for p in problems]
        self.rates = np.zeros((sum(sizes), sum(sizes)))
        self.bends = np.zeros_like(self.rates)
        where: list[int] = []
        for problem, begin in zip(problems, np.cumsum([0, *sizes[:-1]]), strict=True):
            crops = problem.rows.kg.shape[1]
            rates = np.linalg.inv(_prior_of_rates(problem))
            self.rates[begin : begin + crops, begin : begin + crops] = rates
            where.extend(range(begin + crops, begin + crops + shape.POINTS))
        self.bends[np.ix_(where, where)] = bends
        self.count = len(where)

    def precision(self, bend: float) -> Floats:
        return self.rates + self.bends / bend**2

    def size(self, now: Floats, covariance: Floats, bend: float) -> float:
        """An improved estimate of the size, from how far h is from 0 in the directions that the data inform
        (their number is the reduction of variance from prior to posterior). Other entries of `now` don't
        count."""
        informed = max(self.count - float((self.bends * covariance).sum()) / bend**2, 0.0)
        found = max(float(now @ self.bends @ now), 0.0) + BEND_STRENGTH * BEND_GUESS**2
        # Halfway on a logarithmic scale, since a full step may overshoot.
        size = math.sqrt(bend * math.sqrt(found / (informed + BEND_STRENGTH)))
        return min(max(size, LEAST_BEND), MOST_BEND)


def _learn_gauge(state: State, covariance: Floats) -> None:
    plain = state.problem.rows.blocks[PLAIN_BLOCK]
    away = (state.robust[plain] * (state.problem.rows.wear - state.wear)[plain] ** 2).sum()
    # The weights of plain readings are robust / gauge_sd^2.
    away += state.gauge_sd**2 * state.variance(PLAIN_BLOCK, covariance)
    found = away + GAUGE_STRENGTH * state.problem.gauge_guess**2
    sd = math.sqrt(found / (plain.stop + GAUGE_STRENGTH))
    state.gauge_sd = min(sd, state.problem.budget)


def _learn_spreads(states: list[State], covariances: list[Floats], spreads: Spreads) -> None:
    part, parts = 0.0, 0.0
    life, lives = 0.0, 0.0
    worn, worn_at, ended_count = 0.0, 0.0, 0
    for state, covariance in zip(states, covariances, strict=True):
        rows, size = state.problem.rows, state.problem.rows.lives
        if not size:
            continue
        gain = state.gain[:, :size]
        total = (gain.reshape(-1, gain.shape[2]) @ covariance).reshape(gain.shape) @ gain.swapaxes(1, 2)
        total += state.inverse[:, :size, :size]
        mode = state.local[:, :size]
        prior = spreads.part**2 * np.ones((size, size)) + spreads.life**2 * np.eye(size)
        c = np.linalg.solve(prior, np.full(size, spreads.part**2))
        rest = spreads.part**2 * (1.0 - c.sum())
        seen = state.life_used.any(axis=1)
        common = mode @ c
        part += float((common**2 + (total @ c) @ c + rest)[seen].sum())
        parts += float(seen.sum())
        between = np.eye(size) - c
        apart = (mode - common[:, None]) ** 2 + ((between @ total) * between).sum(axis=2) + rest
        several = state.life_used * (state.life_used.sum(axis=1) > 1)[:, None]
        life += float((apart * several).sum())
        lives += float(several.sum())
        ended = rows.blocks[WORN_BLOCK]
        away = (rows.wear - state.wear)[ended] / -state.problem.budget
        robust = state.robust[ended]
        worn_at += float((robust * away).sum())
        worn += float((robust * ((away - spreads.worn_at) ** 2)).sum())
        # The weights of these rows are robust / (worn * budget)^2.
        worn += spreads.worn**2 * state.variance(WORN_BLOCK, covariance)
        ended_count += len(away)
    part, life = max(part, 0.0), max(life, 0.0)
    part = math.sqrt((part + PART_STRENGTH * SPREAD_GUESS**2) / (parts + PART_STRENGTH))
    life = math.sqrt((life + LIFE_STRENGTH * LIFE_GUESS**2) / (lives + LIFE_STRENGTH))
    worn = math.sqrt((worn + WORN_STRENGTH * WORN_GUESS**2) / (ended_count + WORN_STRENGTH))
    spreads.part, spreads.life, spreads.worn = min(part, 1.0), min(life, 1.0), min(worn, 1.0)
    spreads.worn_at = min(max(worn_at / (ended_count + WORN_STRENGTH), -0.5), 0.5)
