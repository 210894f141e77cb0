"""Wear in chance steps: against simulation, and against a plain version of the same formulas."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from tests.calc.plain_edges import straight_fleet
from wearlog.calc.candidates import CALM, OTHERS, STEPS, Candidates
from wearlog.calc.candidates.steps import progress_by_steps, size_of_steps
from wearlog.calc.wear import TypeRecord, answers, learn


def plain_size(readings: Sequence[tuple[int, float, float]], gauge_sd: float) -> float:
    """Reading by reading: of each life and each fifth of the budget the last one, and the growth between
    them."""
    off, usual, made_in_all = 0.0, 4.0 * 0.5, 0.0
    for life in sorted({life for life, _, _ in readings}):
        by_fifth: dict[int, tuple[float, float]] = {}
        for _, x, wear in sorted(reading for reading in readings if reading[0] == life):
            if int(x / 0.2) >= 1:
                by_fifth[int(x / 0.2)] = (x, wear)
        before, begun = (0.0, 0.0), True
        for _, at in sorted(by_fifth.items()):
            made, grown = at[0] - before[0], at[1] - before[1]
            if made >= 0.1:
                away = min(max(grown - made, -made - 0.1), 1.5 * made + 0.1)
                off += away**2 - (1.0 if begun else 2.0) * gauge_sd**2
                made_in_all += made
            before, begun = at, False
    return max((off + 0.03 * usual) / (made_in_all + usual), 0.002)


readings = st.lists(
    st.tuples(st.integers(0, 3), st.floats(0.0, 1.5), st.floats(-0.5, 3.0)),
    max_size=40,
    unique_by=lambda r: r[1],
)


@given(readings, st.floats(0.0, 0.1))
@settings(max_examples=200)
def test_the_size_of_steps_is_that_of_the_plain_version(
    drawn: list[tuple[int, float, float]], gauge_sd: float
) -> None:
    columns = np.array(drawn, dtype=float).reshape(-1, 3)
    found = size_of_steps(columns[:, 0].astype(np.int64), columns[:, 1], columns[:, 2], gauge_sd)
    assert found == pytest.approx(plain_size(drawn, gauge_sd))


def test_the_size_of_steps_is_found_from_edges_that_wear_so() -> None:
    chance = np.random.default_rng(1)
    life = np.repeat(np.arange(300), 5)
    x = np.tile(np.arange(1, 6) * 0.2 + 0.01, 300)
    steps = chance.gamma(np.diff(x.reshape(-1, 5), prepend=0.0) / 0.05, 0.05)
    wear = np.cumsum(steps, axis=1).ravel() + chance.normal(0.0, 0.03, len(x))
    assert size_of_steps(life, x, wear, 0.03) == pytest.approx(0.05, rel=0.15)


def test_wear_without_chance_has_the_smallest_steps() -> None:
    life, x = np.repeat(np.arange(200), 5), np.tile(np.arange(1, 6) * 0.2 + 0.01, 200)
    assert size_of_steps(life, x, x, 0.0) == pytest.approx(0.002)


def test_one_slip_moves_the_size_of_steps_by_a_bounded_amount() -> None:
    life, x = np.repeat(np.arange(20), 5), np.tile(np.arange(1, 6) * 0.2 + 0.01, 20)

    def size_with(slip: float) -> float:
        wear = x.copy()
        wear[52] += slip
        return size_of_steps(life, x, wear, 0.0)

    assert size_with(1_000.0) == size_with(10.0) < size_with(0.0) + 0.03


@given(st.floats(0.01, 1.0), st.floats(0.004, 0.2), st.floats(0.02, 0.98))
@settings(max_examples=50)
def test_the_limit_is_passed_within_the_progress_with_the_chance_asked_for(
    left: float, size: float, chance: float
) -> None:
    """Against the root of the distribution function, found by bisection."""
    found = float(progress_by_steps(left, size, np.array([chance]))[0])
    root = optimize.brentq(lambda x: stats.gamma.sf(left, x / size, scale=size) - chance, 1e-9, 60.0)
    assert found == pytest.approx(root, rel=1e-4, abs=1e-5)


def fleet() -> TypeRecord:
    edges = tuple(straight_fleet(1, parts=20, rates=(1e-5, 1.6e-5, 0.7e-5), gauges=4))
    return TypeRecord(key="die", new=5.0, limit=5.4, crops=3, expected_life_kg=4e4, edges=edges)


def test_candidates_tell_about_the_same_of_an_edge_that_wears_straight() -> None:
    record = fleet()
    learned = learn([record])[0]
    present = answers(record, learned)
    candidates = Candidates(record, learned, present)
    mix = np.ones(3)
    compared = 0
    for edge in record.edges:
        own = present.edges[edge.key].seed_left(mix)
        fits = candidates.fits(edge.key)
        assert set(fits) == set(OTHERS)
        if own is None or own.mid < 5_000.0:
            continue
        compared += 1
        for name in (CALM, STEPS):
            other = fits[name].seed_left(mix)
            assert other is not None
            assert other.low < other.mid < other.high
            assert other.mid == pytest.approx(own.mid, rel=0.5)
    assert compared >= 5


def test_where_nothing_is_known_candidates_keep_silent() -> None:
    record = TypeRecord(key="die", new=None, limit=None, crops=3, edges=fleet().edges)
    learned = learn([record])[0]
    candidates = Candidates(record, learned, answers(record, learned))
    assert candidates.fits(record.edges[0].key) == {}
