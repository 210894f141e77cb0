"""The pull of readings on a type's parameters, against a plain version with one large matrix.

Plain: all parameters of all parts side by side, the derivatives of each row's wear by differences, the
Hessian J' W J + prior and the gradient J' score - prior * locals; then the locals are eliminated by Schur's
complement.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.calc.plain_edges import straight_fleet
from wearlog.calc.wear import Gauge, TypeRecord, Work, learn
from wearlog.calc.wear.shape import POINTS, value
from wearlog.calc.wear.state import SHIFT_SD, Spreads, State, TypeToFit

SPREADS = Spreads(part=0.3, life=0.05, worn=0.04, worn_at=0.01, bend=0.2)
STEP = 1e-6


def made(seed: int) -> State:
    """Parts of two crops, one of them polished and one rebuilt, with parameters drawn about their middle."""
    chance = np.random.default_rng(seed)
    edges = list(straight_fleet(seed, parts=4, rates=(1e-5, 1.6e-5), gauges=4))
    for place, resets in ((0, False), (1, True)):
        edge = edges[place]
        at, kg = edge.gauges[1].at, edge.gauge_kg[1]
        marks = tuple(Gauge(at=at, value=5.1, phase=phase, work=1) for phase in ("before", "after"))
        edges[place] = replace(
            edge,
            gauges=(*edge.gauges, *marks),
            gauge_kg=np.vstack([edge.gauge_kg, kg, kg]),
            works=(Work(id=1, at=at, resets=resets),),
            work_kg=kg[None],
        )
    record = TypeRecord(key="die", new=5.0, limit=5.4, crops=2, expected_life_kg=40_000.0, edges=tuple(edges))
    (learned,) = learn([record])
    assert learned.known is not None
    state = State(learned.known.problem)
    state.a = state.a + chance.normal(0, 0.1, state.a.shape)
    state.h = chance.normal(0, 0.1, POINTS)
    state.local = chance.normal(0, 0.05, state.local.shape)
    return state


def wear(problem: TypeToFit, flat: np.ndarray, crops: int, size: int) -> np.ndarray:
    """The wear of each row by all parameters: log rates, h, and the locals of each part."""
    rows = problem.rows
    a, h, local = flat[:crops], flat[crops : crops + POINTS], flat[crops + POINTS :].reshape(-1, size)
    out = []
    for row in range(len(rows.wear)):
        own = local[rows.part[row]]
        progress = sum(np.exp(a[crop]) * rows.kg[row, crop] for crop in range(crops)) / problem.budget
        worn = np.exp(own[rows.life[row]]) * problem.budget * value(h, np.array([progress]))[0][0]
        out.append(worn + sum(rows.shifts[row, k] * own[rows.lives + k] for k in range(rows.shifts.shape[1])))
    return np.array(out)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("search", [False, True])
def test_the_pull_on_rates_and_shape_is_that_of_one_large_matrix(seed: int, search: bool) -> None:
    state = made(seed)
    problem, crops, size = state.problem, len(state.a), state.local.shape[1]
    hessian, gradient = state.curvature(SPREADS, search)

    flat = np.concatenate([state.a, state.h, state.local.ravel()])
    assert wear(problem, flat, crops, size) == pytest.approx(state.wear, rel=1e-9)
    slopes = np.empty((len(problem.rows.wear), flat.size))
    for place in range(flat.size):
        step = np.zeros(flat.size)
        step[place] = STEP
        there, here = (wear(problem, flat + sign * step, crops, size) for sign in (1, -1))
        slopes[:, place] = (there - here) / (2 * STEP)

    own = np.zeros((size, size))  # the covariance of one part's locals
    lives = problem.rows.lives
    for i in range(size):
        for j in range(size):
            if i < lives and j < lives:
                own[i, j] = SPREADS.part**2 + (i == j) * SPREADS.life**2
            elif i == j:
                own[i, j] = (SHIFT_SD * problem.budget) ** 2
    common = crops + POINTS
    prior = np.zeros((flat.size, flat.size))
    for part in range(problem.rows.parts):
        block = slice(common + part * size, common + (part + 1) * size)
        prior[block, block] = np.linalg.inv(own)

    whole = slopes.T @ (state.weight[:, None] * slopes) + prior
    pull = slopes.T @ state.score - prior @ flat
    across = np.linalg.solve(whole[common:, common:], whole[common:, :common])
    assert hessian == pytest.approx(
        whole[:common, :common] - whole[:common, common:] @ across, rel=1e-5, abs=1e-5 * np.abs(hessian).max()
    )
    assert gradient == pytest.approx(
        pull[:common] - across.T @ pull[common:], rel=1e-5, abs=1e-5 * np.abs(gradient).max()
    )
