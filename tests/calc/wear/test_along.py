"""The wear of an edge at other moments of its life. Numbers in records are made up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.calc.plain_edges import straight_fleet, worn_edge
from wearlog.calc.wear import EdgeRecord, Quantiles, TypeRecord, Work, answers, learn, wear_along
from wearlog.calc.wear.records import Floats

ONE = np.ones(1)
LATE = 99.0


def die(*edges: EdgeRecord) -> TypeRecord:
    """A bore that is new at 5.0 mm and worn at 5.4 mm."""
    return TypeRecord(key="die", new=5.0, limit=5.4, crops=1, expected_life_kg=40_000.0, edges=edges)


def along(record: TypeRecord, key: str | None, *kg: float, at: float = LATE) -> tuple[Quantiles, ...]:
    seed: Floats = np.array(kg)[:, None]
    return wear_along(record, learn([record])[0], key, seed, np.full(len(kg), at))


@pytest.fixture
def record() -> TypeRecord:
    mine = worn_edge("mine", kg=[5e3, 10e3, 15e3], wear=[0.05, 0.1, 0.15], now_kg=[17e3])
    return die(mine, *straight_fleet(1, parts=4))


def test_it_begins_new_and_passes_through_the_wear_of_today(record: TypeRecord) -> None:
    now = answers(record, learn([record])[0]).edges["mine"].now
    new, today = along(record, "mine", 0.0, 17e3)
    assert (new.low, new.mid, new.high) == pytest.approx((0.0, 0.0, 0.0), abs=1e-9)
    assert today == now


def test_it_runs_through_steady_gauges(record: TypeRecord) -> None:
    found = along(record, "mine", 5e3, 10e3, 15e3)
    assert [round(wear.mid, 2) for wear in found] == [0.05, 0.1, 0.15]


@settings(max_examples=20, deadline=None)
@given(st.floats(1e3, 30e3))
def test_it_reaches_the_limit_where_the_seed_left_says(now_kg: float) -> None:
    mine = worn_edge("mine", kg=[5e3, 10e3, 15e3], wear=[0.05, 0.1, 0.15], now_kg=[now_kg])
    record = die(mine, *straight_fleet(1, parts=4))
    left = answers(record, learn([record])[0]).edges["mine"].seed_left(ONE)
    assert left is not None
    assert left.low > 0
    # The one that wears fastest is the first at the limit.
    early, middle, late = along(record, "mine", now_kg + left.low, now_kg + left.mid, now_kg + left.high)
    assert (early.high, middle.mid, late.low) == pytest.approx((0.4, 0.4, 0.4), abs=2e-3)


def test_an_edge_that_was_never_used_follows_the_others(record: TypeRecord) -> None:
    left = answers(record, learn([record])[0]).new_edge.seed_left(ONE)
    assert left is not None
    new, at_limit = along(record, None, 0.0, left.mid)
    assert new.mid == pytest.approx(0.0, abs=1e-9)
    assert at_limit.mid == pytest.approx(0.4, abs=2e-3)
    assert at_limit.low < 0.37 < 0.43 < at_limit.high


def test_before_a_polish_the_shift_that_it_brought_is_not_there_yet() -> None:
    edge = worn_edge("polished", kg=[5e3, 10e3, 10e3, 15e3], wear=[0.05, 0.1, 0.2, 0.25], now_kg=[17e3])
    marks = ((0.0, "", None), (2.0, "before", 3), (2.0, "after", 3), (4.0, "", None))
    gauges = tuple(
        replace(gauge, at=at, phase=phase, work=work)
        for gauge, (at, phase, work) in zip(edge.gauges, marks, strict=True)
    )
    works = (Work(id=3, at=2.0, resets=False),)
    record = die(
        replace(edge, gauges=gauges, works=works, work_kg=np.array([[10e3]])), *straight_fleet(1, parts=4)
    )
    before, after = along(record, "polished", 10e3, at=1.9)[0], along(record, "polished", 10e3, at=2.0)[0]
    assert before.mid == pytest.approx(0.1, abs=0.02)
    assert after.mid == pytest.approx(0.2, abs=0.02)


def test_a_rebuilt_edge_is_followed_from_its_rebuilding() -> None:
    edge = worn_edge("rebuilt", kg=[20e3, 25e3], wear=[0.02, 0.05], now_kg=[27e3])
    gauges = tuple(replace(gauge, at=4.0 + number) for number, gauge in enumerate(edge.gauges))
    works = (Work(id=3, at=2.0, resets=True),)
    record = die(
        replace(edge, gauges=gauges, works=works, work_kg=np.array([[20e3]])), *straight_fleet(1, parts=4)
    )
    begun, later = along(record, "rebuilt", 20e3, 25e3)
    assert begun.mid == pytest.approx(0.0, abs=1e-9)
    assert later.mid == pytest.approx(0.05, abs=0.02)


def test_where_nothing_is_known_there_is_nothing() -> None:
    bare = replace(die(worn_edge("bare", kg=[], wear=[], now_kg=[3e3])), expected_life_kg=None)
    assert along(bare, "bare", 1e3) == ()
