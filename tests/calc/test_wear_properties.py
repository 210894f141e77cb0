"""What must hold of the wear model whatever was recorded.

Answers are read off 256 cases; where rounding moves a figure to the next case it moves by less than half a
per cent, which is the tolerance of the invariances here.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from tests.calc.simulator import straight_fleet, worn_edge
from wearlog.calc.wear import EdgeFit, EdgeRecord, Gauge, Quantiles, TypeRecord, Work, fit_type
from wearlog.calc.wear.shape import KNOTS, POINTS, Shapes, value

calm = settings(max_examples=25, deadline=None)
seeds = st.integers(0, 10_000)


def die(edges: tuple[EdgeRecord, ...], life: float | None = 40_000.0, crops: int = 1) -> TypeRecord:
    return TypeRecord(key="die", new=5.0, limit=5.4, crops=crops, expected_life_kg=life, edges=edges)


def figures(fit_edges: dict[object, EdgeFit]) -> dict[object, tuple[float, ...]]:
    out = {}
    for key, edge in fit_edges.items():
        left = edge.seed_left(np.ones(1))
        assert left is not None
        out[key] = (left.low, left.mid, left.high)
    return out


@calm
@given(seeds, st.sampled_from([1e-3, 2.20462262185, 1e3]))
def test_the_unit_of_mass_does_not_matter(seed: int, unit: float) -> None:
    edges = straight_fleet(seed)
    scaled = tuple(
        replace(e, gauge_kg=e.gauge_kg * unit, work_kg=e.work_kg * unit, now_kg=e.now_kg * unit)
        for e in edges
    )
    usual = figures(dict(fit_type(die(edges)).edges))
    other = figures(dict(fit_type(die(scaled, 40_000.0 * unit)).edges))
    for key, left in usual.items():
        assert other[key] == pytest.approx([unit * q for q in left], rel=5e-3, abs=1e-3 * unit)


@calm
@given(seeds)
def test_the_unit_of_length_does_not_matter(seed: int) -> None:
    edges = straight_fleet(seed)
    inches = tuple(
        replace(e, gauges=tuple(replace(g, value=g.value / 25.4) for g in e.gauges)) for e in edges
    )
    record = die(edges)
    other = replace(record, new=5.0 / 25.4, limit=5.4 / 25.4, gauge_guess=0.03 / 25.4, edges=inches)
    usual, in_inches = figures(dict(fit_type(record).edges)), figures(dict(fit_type(other).edges))
    for key, left in usual.items():
        assert in_inches[key] == pytest.approx(left, rel=5e-3, abs=1e-3)


@calm
@given(seeds, st.randoms(use_true_random=False))
def test_the_order_of_records_does_not_matter(seed: int, shuffle: object) -> None:
    edges = list(straight_fleet(seed))
    usual = figures(dict(fit_type(die(tuple(edges))).edges))
    mixed = []
    for edge in edges:
        order = list(range(len(edge.gauges)))
        shuffle.shuffle(order)  # type: ignore[attr-defined]
        mixed.append(
            replace(edge, gauges=tuple(edge.gauges[i] for i in order), gauge_kg=edge.gauge_kg[order])
        )
    shuffle.shuffle(mixed)  # type: ignore[attr-defined]
    for key, left in figures(dict(fit_type(die(tuple(mixed))).edges)).items():
        assert left == pytest.approx(usual[key], rel=5e-3, abs=1e-3)


@calm
@given(seeds, st.floats(-3, 2.5), st.floats(0.05, 0.5))
def test_more_wear_never_means_later(seed: int, sds: float, more: float) -> None:
    """For the last reading of an edge that its other readings describe well, moved within 3 standard
    deviations of the fit."""
    random = np.random.default_rng(seed)
    kg = np.arange(1, 8) * 3_000.0
    wear = kg * 1e-5 + random.normal(0, 0.01, 7)
    fleet = straight_fleet(seed)

    def middle(last: float) -> float:
        edge = worn_edge("mine", kg=kg, wear=[*wear[:-1], last])
        left = fit_type(die((edge, *fleet))).edges["mine"].seed_left(np.ones(1))
        assert left is not None
        return left.mid

    at = kg[-1] * 1e-5 + sds * 0.02
    # A half per cent is left to the coarseness of the cases.
    assert middle(min(at + more * 0.02, kg[-1] * 1e-5 + 0.06)) <= middle(at) * 1.005


@calm
@given(seeds, st.floats(0.0, 30e3), st.floats(0.0, 30e3))
def test_more_seed_leaves_less(seed: int, taken: float, more: float) -> None:
    fleet = straight_fleet(seed)

    def left(now: float) -> Quantiles:
        edge = worn_edge("mine", kg=[], wear=[], now_kg=[now])
        found = fit_type(die((edge, *fleet))).edges["mine"].seed_left(np.ones(1))
        assert found is not None
        return found

    assert left(taken + more).high <= left(taken).high + 1e-6


readings = st.tuples(
    st.floats(0, 1e6), st.floats(0, 10), st.sampled_from(["", "at_least", "below"]), st.integers(0, 5)
)


@st.composite
def wild_edges(draw: st.DrawFn, key: int) -> EdgeRecord:
    """Anything that a logbook can hold, sense or nonsense."""
    rows = draw(st.lists(readings, max_size=6))
    work = draw(st.lists(st.tuples(st.floats(0, 6), st.booleans()), max_size=3))
    works = tuple(Work(id=i, at=at, resets=resets) for i, (at, resets) in enumerate(work))
    phase = draw(st.sampled_from(["", "before", "after"]))
    gauges = tuple(
        Gauge(
            at=float(at),
            value=value,
            bound=bound,
            phase=phase if works else "",
            work=works[0].id if works and phase else None,
        )
        for _, value, bound, at in rows
    )
    return EdgeRecord(
        key=key,
        part=draw(st.integers(0, 1)),
        gauges=gauges,
        gauge_kg=np.array([[kg, draw(st.floats(0, 1e5))] for kg, *_ in rows]).reshape(len(rows), 2),
        works=works,
        work_kg=np.array([[at * 1e4, 0.0] for at, _ in work]).reshape(len(work), 2),
        now_kg=np.array([draw(st.floats(0, 1e6)), 0.0]),
        worn_out=draw(st.booleans()),
        in_use=draw(st.booleans()),
    )


@settings(max_examples=60, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(st.tuples(wild_edges(0), wild_edges(1), wild_edges(2)), st.sampled_from([None, 1.0, 4e4, 1e9]))
def test_whatever_is_recorded_every_figure_is_a_number_or_nothing(
    edges: tuple[EdgeRecord, ...], life: float | None
) -> None:
    fit = fit_type(die(edges, life, crops=2))
    for edge in (*fit.edges.values(), fit.new_edge):
        for quantiles in (edge.now, edge.multiplier, edge.seed_left(np.ones(2)), *fit.rates):
            if quantiles is not None:
                assert all(math.isfinite(q) for q in (quantiles.low, quantiles.mid, quantiles.high))
                assert quantiles.low <= quantiles.mid <= quantiles.high
        chance = edge.chance_reached(np.array([[0.0, 0.0], [1e3, 1e3], [1e5, 1e5]]))
        if edge.basis == "none":
            assert np.isnan(chance).all()
        else:
            assert (np.diff(chance) >= 0).all()
            assert chance.min() >= 0
            assert chance.max() <= 1 + 1e-12


heights = st.lists(st.floats(-2, 2), min_size=POINTS, max_size=POINTS).map(np.array)


@calm
@given(heights, st.floats(0, 3))
def test_the_shape_of_wear_rises_reaches_the_limit_at_one_and_can_be_inverted(
    h: np.ndarray, v: float
) -> None:
    shapes = Shapes.of(h[None])
    at = np.sort(np.append(KNOTS, v))[None]
    g = shapes.forward(at)
    assert (np.diff(g[0]) >= 0).all()
    assert shapes.forward(np.array([[1.0]]))[0, 0] == pytest.approx(1.0)
    assert shapes.backward(g)[0] == pytest.approx(at[0], abs=1e-9)
    assert value(h, at[0])[0] == pytest.approx(g[0])


@calm
@given(heights, st.floats(0, 3), st.integers(0, POINTS - 1))
def test_the_derivatives_of_the_shape_are_its_differences(h: np.ndarray, v: float, knot: int) -> None:
    step = np.zeros(POINTS)
    step[knot] = 1e-6
    there, here = value(h + step, np.array([v]))[0], value(h - step, np.array([v]))[0]
    assert value(h, np.array([v]))[2][0, knot] == pytest.approx((there[0] - here[0]) / 2e-6, abs=1e-5)
