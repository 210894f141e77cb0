"""Fit one part type: wear = multiplier * (sum over crops of rate * seed), all of it uncertain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from wearlog.calc.wear.lives import AT_LEAST, BELOW, PLAIN, WORN_OUT, Rows
from wearlog.calc.wear.records import Floats

T_DOF = 4.0  # readings are taken as Student-t: a gross slip then pulls little, and never nothing


@dataclass(frozen=True)
class Posterior:
    """Normal approximation at the mode: globals (C log rates), and per part L + K locals (log multipliers
    of its lives, shifts) given the globals: mean local + slope @ (globals - mode), covariance local_cov."""

    log_rates: Floats
    covariance: Floats
    local: Floats
    slope: Floats
    local_cov: Floats
    gauge_sd: float
    spread: float
    life_spread: float


def fit(rows: Rows, budget: float, log_rate: float, log_rate_sd: float, gauge_guess: float) -> Posterior:
    """Mode and curvature by damped Gauss-Newton steps, spreads by expectation-maximisation beside them."""
    crops = rows.kg.shape[1]
    size = rows.lives + rows.shifts.shape[1]
    gauge_sd, spread, life_spread, worn_sd = gauge_guess, 0.2, 0.05, 0.08
    prior = np.linalg.inv(log_rate_sd**2 * np.ones((crops, crops)) + 0.6**2 * np.eye(crops))
    a = np.full(crops, log_rate)
    local = np.zeros((rows.parts, size))
    own = np.zeros((len(rows.part), size))
    own[:, rows.lives :] = rows.shifts
    for _ in range(40):
        local_prior = _local_prior(rows, budget, spread, life_spread)
        grown = np.exp(a) * rows.kg
        theta = np.exp(local[rows.part, rows.life])
        wear = theta * grown.sum(axis=1)
        shift = (own[:, rows.lives :] * local[rows.part, rows.lives :]).sum(axis=1)
        sd = np.where(rows.kind == WORN_OUT, worn_sd * budget, gauge_sd)
        score, weight = _pull(rows, wear + shift, sd)
        own[np.arange(len(own)), rows.life] = wear
        by_rate = theta[:, None] * grown
        h_ll = np.broadcast_to(local_prior, (rows.parts, size, size)).copy()
        h_lg = np.zeros((rows.parts, size, crops))
        g_l = -np.einsum("ij,pj->pi", local_prior, local)
        weighted = own * weight[:, None]
        np.add.at(h_ll, rows.part, weighted[:, :, None] * own[:, None, :])
        np.add.at(h_lg, rows.part, weighted[:, :, None] * by_rate[:, None, :])
        np.add.at(g_l, rows.part, own * score[:, None])
        h_gg = prior + (by_rate * weight[:, None]).T @ by_rate
        g_g = by_rate.T @ score - prior @ (a - log_rate)
        inverse: Floats = np.asarray(np.linalg.inv(h_ll), dtype=float)
        gain = inverse @ h_lg
        schur = h_gg - np.einsum("pij,pik->jk", h_lg, gain)
        step = np.linalg.solve(schur, g_g - np.einsum("pij,pi->j", gain, g_l))
        step_l = np.einsum("pij,pj->pi", inverse, g_l) - gain @ step
        covariance = np.linalg.inv(schur)
        scale = min(1.0, 1.0 / max(float(np.max(np.abs(step), initial=0.0)), 1e-12))
        step_l[:, : rows.lives] = np.clip(step_l[:, : rows.lives], -1.0, 1.0)
        a = a + scale * step
        local = local + scale * step_l
        total_cov = inverse + gain @ covariance @ np.swapaxes(gain, 1, 2)
        gauge_sd = _gauge_sd(rows, wear + shift, gauge_sd, gauge_guess)
        spread = _spread(rows, local, total_cov, life_spread)
    return Posterior(a, covariance, local, -gain, inverse, gauge_sd, spread, life_spread)


def _local_prior(rows: Rows, budget: float, spread: float, life_spread: float) -> Floats:
    covariance = np.zeros((rows.lives + rows.shifts.shape[1],) * 2)
    covariance[: rows.lives, : rows.lives] = spread**2
    covariance[range(rows.lives), range(rows.lives)] += life_spread**2
    later = range(rows.lives, len(covariance))
    covariance[later, later] = (0.5 * budget) ** 2
    return np.linalg.inv(covariance) if len(covariance) else covariance


def _pull(rows: Rows, wear: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """First derivative of the log likelihood by the wear, and a positive weight for its curvature."""
    away = (rows.wear - wear) / sd
    robust = (T_DOF + 1.0) / (T_DOF + away**2)
    score = robust * away / sd
    weight = robust / sd**2
    for kind, side in ((AT_LEAST, 1.0), (BELOW, -1.0)):
        pins = rows.kind == kind
        if pins.any():
            z = -side * away[pins]
            mills = np.exp(-0.5 * z**2 - special.log_ndtr(z)) / np.sqrt(2 * np.pi)
            score[pins] = side * mills / sd[pins]
            weight[pins] = np.maximum(mills * (mills + z), 1e-6) / sd[pins] ** 2
    return score, weight


def _gauge_sd(rows: Rows, wear: Floats, sd: float, guess: float) -> float:
    plain = rows.kind == PLAIN
    away = rows.wear[plain] - wear[plain]
    robust = (T_DOF + 1.0) / (T_DOF + (away / sd) ** 2)
    strength = 6.0
    found = (robust * away**2).sum() + strength * guess**2
    return float(np.sqrt(found / (max(plain.sum() - 0.5 * rows.parts, 0.0) + strength)))


def _spread(rows: Rows, local: Floats, covariance: Floats, life_spread: float) -> float:
    first = local[:, 0] ** 2 + covariance[:, 0, 0] - life_spread**2 if rows.lives else np.zeros(0)
    strength = 4.0
    return float(np.sqrt(max(first.sum() + strength * 0.2**2, 0.01) / (len(first) + strength)))


def nodes(dimensions: int, count: int) -> Floats:
    """Fixed points that stand for independent standard normals, shape (count, dimensions); `count` even.

    A low-discrepancy lattice mirrored about 0, with unit variance in each direction."""
    if dimensions == 0:
        return np.zeros((count, 0))
    root = 1.5
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (dimensions + 1.0))
    alphas = root ** -np.arange(1.0, dimensions + 1.0)
    lattice = (0.5 + np.arange(1.0, count // 2 + 1.0)[:, None] * alphas) % 1.0
    half = stats.norm.ppf(np.clip(lattice, 1e-6, 1 - 1e-6))
    full = np.concatenate([half, -half])
    return np.asarray(full / full.std(axis=0))
