"""The state of one type's fit: its parameters, and the derivatives of the log likelihood."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from scipy import special

from wearlog.calc.wear import shape
from wearlog.calc.wear.lives import AT_LEAST, BELOW, WORN_OUT, Ints, Rows
from wearlog.calc.wear.records import Floats
from wearlog.calc.wear.slips import IN_THE_FIT, odd_share

# In the first steps reading errors are treated as Student-t with few degrees of freedom, because gross errors
# can't be told from others while the rates are still wrong.
SEARCH_DOF = 4.0
SHIFT_SD = 0.5  # prior standard deviation of a shift, in fractions of the budget
WIDEST = 5.0  # bound of the log of a rate, slope or multiplier relative to its prior; beyond are typos
SPREAD_GUESS, LIFE_GUESS, WORN_GUESS, BEND_GUESS = 0.2, 0.02, 0.02, 0.2


@dataclass(frozen=True)
class TypeToFit:
    """One type: its rows, the wear from new to limit, the prior of its rate and gauge error, and the crop of
    each harvest."""

    rows: Rows
    budget: float
    log_rate: float
    log_rate_sd: float
    gauge_guess: float
    harvest_crop: Ints


@dataclass
class Spreads:
    """Standard deviations learned alongside the mode: `part` of the log multipliers of parts, `life` of those
    of the lives of one part, `worn` of the wear at which edges are retired as worn (about the limit +
    `worn_at`; both in fractions of the budget), `bend` of h."""

    part: float = SPREAD_GUESS
    life: float = LIFE_GUESS
    worn: float = WORN_GUESS
    worn_at: float = 0.0
    bend: float = BEND_GUESS


@dataclass
class Sums:
    """Weighted sums over the rows of one block (see `Rows.blocks`): gg of by_global x by_global, shape (G,
    G); and for each part ll of own x own (P, S, S) and lg of own x by_global (P, S, G), where own is the
    derivative of the wear by the part's locals."""

    gg: Floats
    ll: Floats
    lg: Floats


@dataclass
class State:
    """The current parameters of one type's fit. There are G globals (log rates, then h), and S locals (log
    multipliers of lives, then shifts) for each of P parts."""

    problem: TypeToFit
    effect: Floats = field(default_factory=lambda: np.zeros(1))  # of the harvests, by which seed counts
    a: Floats = field(init=False)
    h: Floats = field(init=False)
    local: Floats = field(init=False)
    gauge_sd: float = field(init=False)
    # One entry for each row:
    by_global: Floats = field(init=False)
    worn: Floats = field(init=False)
    wear: Floats = field(init=False)
    score: Floats = field(init=False)
    weight: Floats = field(init=False)
    robust: Floats = field(init=False)
    # One entry for each part: the inverse of its Hessian, that times the mixed Hessian, and its gradient.
    inverse: Floats = field(init=False)
    gain: Floats = field(init=False)
    g_l: Floats = field(init=False)
    sums: list[Sums] = field(init=False)

    def __post_init__(self) -> None:
        rows = self.problem.rows
        self.a = np.full(rows.kg.shape[1], self.problem.log_rate)
        self.h = np.zeros(shape.POINTS)
        self.local = np.zeros((rows.parts, rows.lives + rows.shifts.shape[1]))
        self.gauge_sd = self.problem.gauge_guess

    def with_harvests(self, effect: Floats) -> State:
        """The same parameters, with seed that counts by the effects (H,) of its harvests."""
        rows, crop = self.problem.rows, self.problem.harvest_crop
        counted = rows.harvest_kg * np.exp(effect)
        kg = counted @ np.eye(rows.kg.shape[1])[crop]
        new = State(replace(self.problem, rows=replace(rows, kg=kg)), effect)
        new.a, new.h, new.local, new.gauge_sd = self.a, self.h, self.local, self.gauge_sd
        return new

    @cached_property
    def life_used(self) -> Floats:
        """1 for each life of a part that has a row, shape (P, lives)."""
        rows = self.problem.rows
        used = np.zeros((rows.parts, rows.lives))
        used[rows.part, rows.life] = 1.0
        return used

    @cached_property
    def cells(self) -> list[tuple[slice, Ints, Ints, Ints, Ints]]:
        """For each block: its rows; the indexes at which the rows of each life begin in it, with the part and
        the number of that life; and the indexes of the rows that shifts affect."""
        rows = self.problem.rows
        out = []
        for block in rows.blocks:
            part, life = rows.part[block], rows.life[block]
            new = np.ones(len(part), dtype=bool)
            new[1:] = (part[1:] != part[:-1]) | (life[1:] != life[:-1])
            begin = np.flatnonzero(new)
            moved = np.flatnonzero(rows.shifts[block].any(axis=1))
            out.append((block, begin, part[begin], life[begin], moved))
        return out

    def curvature(self, spreads: Spreads, search: bool) -> tuple[Floats, Floats]:
        """Hessian (G, G) and gradient (G,) of the globals after eliminating the locals."""
        rows, budget = self.problem.rows, self.problem.budget
        grown = np.exp(self.a) * rows.kg / budget
        crops = grown.shape[1]
        g, slope, by_h = shape.value(self.h, grown @ np.ones(crops))
        scale = np.exp(self.local[rows.part, rows.life]) * budget
        self.worn = scale * g
        self.wear = self.worn
        if rows.shifts.shape[1]:
            self.wear = self.worn + (rows.shifts * self.local[rows.part, rows.lives :]).sum(axis=1)
        self.score, self.weight, self.robust = self._pull(spreads, search)
        self.by_global = np.empty((len(scale), crops + shape.POINTS))
        np.multiply(grown, (scale * slope)[:, None], out=self.by_global[:, :crops])
        np.multiply(by_h, scale[:, None], out=self.by_global[:, crops:])
        prior = self._local_prior(spreads)
        self.sums = []
        g_l = -self.local @ prior
        for block, begin, part, life, moved in self.cells:
            self.sums.append(self._sums(block, begin, part, life, moved))
            if len(begin):
                g_l[part, life] += np.add.reduceat((self.worn * self.score)[block], begin)
                shifts = rows.shifts[block][moved] * self.score[block][moved, None]
                np.add.at(g_l[:, rows.lives :], rows.part[block][moved], shifts)
        self.g_l = g_l
        h_lg = sum((s.lg for s in self.sums), np.zeros(()))
        self.inverse = inverse(sum((s.ll for s in self.sums), prior))
        self.gain = self.inverse @ h_lg
        flat = self.gain.reshape(-1, self.gain.shape[2])
        h_gg = sum((s.gg for s in self.sums), np.zeros(())) - h_lg.reshape(flat.shape).T @ flat
        return h_gg, self.by_global.T @ self.score - g_l.ravel() @ flat

    def _sums(self, block: slice, begin: Ints, part: Ints, life: Ints, moved: Ints) -> Sums:
        rows, globals_ = self.problem.rows, self.by_global.shape[1]
        size = self.local.shape[1]
        ll = np.zeros((rows.parts, size, size))
        lg = np.zeros((rows.parts, size, globals_))
        weighted = self.by_global[block] * self.weight[block, None]
        gg = weighted.T @ self.by_global[block]
        if not len(begin):
            return Sums(gg, ll, lg)
        worn, pull = self.worn[block], (self.weight * self.worn)[block]
        ll[part, life, life] = np.add.reduceat(pull * worn, begin)
        weighted *= worn[:, None]
        lg[part, life] = np.add.reduceat(weighted, begin)
        if moved.size:
            index, of_life, shifts = (
                rows.part[block][moved],
                rows.life[block][moved],
                rows.shifts[block][moved],
            )
            pulled = shifts * pull[moved, None]
            np.add.at(ll[:, :, rows.lives :], (index, of_life), pulled)
            np.add.at(ll.swapaxes(1, 2)[:, :, rows.lives :], (index, of_life), pulled)
            held = shifts * self.weight[block][moved, None]
            np.add.at(ll[:, rows.lives :, rows.lives :], index, held[:, :, None] * shifts[:, None, :])
            mixed = held[:, :, None] * self.by_global[block][moved, None, :]
            np.add.at(lg[:, rows.lives :], index, mixed)
        return Sums(gg, ll, lg)

    def _local_prior(self, spreads: Spreads) -> Floats:
        lives, size = self.problem.rows.lives, self.local.shape[1]
        covariance = np.zeros((size, size))
        covariance[:lives, :lives] = spreads.part**2
        covariance[range(lives), range(lives)] += spreads.life**2
        covariance[range(lives, size), range(lives, size)] = (SHIFT_SD * self.problem.budget) ** 2
        return np.asarray(np.linalg.inv(covariance), dtype=float)

    def _pull(self, spreads: Spreads, search: bool) -> tuple[Floats, Floats, Floats]:
        """For each row: the first derivative of the log likelihood by the wear, a positive weight in place of
        its curvature, and the fraction of a full observation that the row counts for."""
        rows, budget = self.problem.rows, self.problem.budget
        ended = rows.kind == WORN_OUT
        target = rows.wear + np.where(ended, spreads.worn_at * budget, 0.0)
        sd = np.where(ended, spreads.worn * budget, self.gauge_sd)
        away = (target - self.wear) / sd
        if search:
            robust = (SEARCH_DOF + 1.0) / (SEARCH_DOF + away**2)
        else:
            odd = odd_share(away)
            # The further off a slip is, the less it pulls, and none counts in the gauge's error for more than
            # any other reading: one decimal point would otherwise make the gauge of a type worthless.
            robust = 1.0 - odd + odd / (IN_THE_FIT.size**2 + away**2)
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

    def move(self, step: Floats, scale: float) -> float:
        """Take `scale` times the step. Returns the largest full step of a local in standard deviations."""
        crops, lives = len(self.a), self.problem.rows.lives
        local = (self.inverse @ self.g_l[:, :, None])[:, :, 0] - self.gain @ step
        local[:, :lives] = np.clip(local[:, :lives], -0.7, 0.7)
        middle, budget = self.problem.log_rate, self.problem.budget
        self.a = np.clip(self.a + scale * step[:crops], middle - WIDEST, middle + WIDEST)
        self.h = np.clip(self.h + scale * step[crops:], -WIDEST, WIDEST)
        self.local = self.local + scale * local
        self.local[:, :lives] = np.clip(self.local[:, :lives], -WIDEST, WIDEST)
        self.local[:, lives:] = np.clip(self.local[:, lives:], -WIDEST * budget, WIDEST * budget)
        sd = np.sqrt(np.diagonal(self.inverse, axis1=1, axis2=2))
        return float(np.max(np.abs(local) / sd, initial=0.0))

    def variance(self, block: int, covariance: Floats) -> float:
        """The weighted sum of the posterior variances of the wear of a block's rows. With the locals
        following the globals, a row's derivative by the globals is by_global - own @ gain; `sums` has the
        sums needed."""
        sums = self.sums[block]
        flat = self.gain.reshape(-1, self.gain.shape[2])
        mixed = sums.lg.reshape(flat.shape).T @ flat
        held = (sums.ll @ self.gain).reshape(flat.shape).T @ flat
        outer = sums.gg - mixed - mixed.T + held
        return max(float((self.inverse * sums.ll).sum() + (outer * covariance).sum()), 0.0)


def inverse(matrices: Floats) -> Floats:
    """The inverses of symmetric matrices that should be positive definite, however different their scales.
    Where rounding has made one indefinite (records that contradict each other wildly), its eigenvalues are
    bounded, so that no variance is below nought."""
    diagonal = np.diagonal(matrices, axis1=-2, axis2=-1)
    scale = 1.0 / np.sqrt(np.maximum(diagonal, 1e-12 * diagonal.max(axis=-1, keepdims=True, initial=1e-30)))
    scale = scale[..., :, None] * scale[..., None, :]
    alike = matrices * scale + 1e-11 * np.eye(matrices.shape[-1])
    try:
        np.linalg.cholesky(alike)
        inverted = np.linalg.inv(alike)
        # Nearly as indefinite as that, a matrix may have its roots and yet no inverse worth the name.
        sound = bool((np.diagonal(inverted, axis1=-2, axis2=-1) > 0).all())
    except np.linalg.LinAlgError:
        sound = False
    if not sound:
        values, vectors = np.linalg.eigh(alike)
        inverted = (vectors / np.maximum(values, 1e-8)[..., None, :]) @ np.swapaxes(vectors, -1, -2)
    inverted = inverted * scale
    return np.asarray(0.5 * (inverted + np.swapaxes(inverted, -1, -2)))
