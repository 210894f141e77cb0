"""Seed to the limit, from gauges of lives that came near it; numbers worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.calc.plain_edges import worn_edge
from wearlog.calc.wear import MIXED, EdgeRecord, TypeRecord, Work, seed_to_limit


def die(*edges: EdgeRecord, crops: int = 1) -> TypeRecord:
    return TypeRecord(key="d", new=5.0, limit=5.4, crops=crops, expected_life_kg=4e4, edges=edges)


def lives(*edges: EdgeRecord) -> list[float]:
    found = seed_to_limit(die(*edges))
    assert found is not None
    return found.seed_kg.tolist()


def test_between_the_gauges_about_the_limit_it_is_on_the_line() -> None:
    # 0.3 at 30 t and 0.5 at 40 t: 0.4 at 35 t.
    assert lives(worn_edge("a", kg=[10e3, 30e3, 40e3], wear=[0.1, 0.3, 0.5])) == pytest.approx([35e3])


def test_a_first_gauge_beyond_the_limit_is_on_the_line_from_new() -> None:
    assert lives(worn_edge("a", kg=[50e3], wear=[0.5])) == pytest.approx([40e3])


def test_a_gauge_near_the_limit_is_carried_on_in_proportion() -> None:
    assert lives(worn_edge("a", kg=[10e3, 30e3], wear=[0.1, 0.32])) == pytest.approx([37.5e3])


def test_a_life_that_was_not_gauged_near_its_limit_tells_nothing() -> None:
    assert lives(worn_edge("a", kg=[10e3, 20e3], wear=[0.1, 0.2])) == []


def test_an_edge_that_was_retired_as_worn_ended_about_at_its_limit() -> None:
    edge = replace(
        worn_edge("a", kg=[10e3], wear=[0.1]), worn_out=True, in_use=False, now_kg=np.array([41e3])
    )
    assert lives(edge) == pytest.approx([41e3])


def test_each_life_after_a_rebuild_counts_from_there() -> None:
    edge = replace(
        worn_edge("a", kg=[32e3, 65e3], wear=[0.32, 0.35]),
        works=(Work(id=1, at=0.5, resets=True),),
        work_kg=np.array([[35e3]]),
    )
    found = seed_to_limit(die(edge))
    assert found is not None
    # 0.32 at 32 t: 40 t; and 0.35 at 30 t since: 34.3 t.
    assert found.seed_kg.tolist() == pytest.approx([40e3, 30e3 * 0.4 / 0.35])
    assert found.rebuilt.tolist() == [0, 1]


def test_a_life_is_one_crops_if_nine_tenths_of_its_seed_were() -> None:
    def of(rape: float, flax: float) -> int:
        edge = replace(
            worn_edge("a", kg=[rape + flax], wear=[0.4]),
            gauge_kg=np.array([[rape, flax]]),
            now_kg=np.array([rape, flax]),
        )
        found = seed_to_limit(die(edge, crops=2))
        assert found is not None
        return int(found.crop[0])

    assert of(36e3, 4e3) == 0
    assert of(3e3, 40e3) == 1
    assert of(30e3, 10e3) == MIXED


def test_a_type_without_a_limit_has_none() -> None:
    assert seed_to_limit(replace(die(), limit=None)) is None


@given(rate=st.floats(5e-6, 5e-5), gauges=st.integers(1, 12), last=st.floats(0.75, 1.5))
def test_of_straight_wear_it_is_the_seed_of_the_limit_wherever_gauged(
    rate: float, gauges: int, last: float
) -> None:
    kg = np.linspace(last * 0.4 / rate / gauges, last * 0.4 / rate, gauges)
    (found,) = lives(worn_edge("a", kg=kg, wear=(rate * kg).tolist())) or [0.0]
    assert found == pytest.approx(0.4 / rate if last >= 0.75 + 1e-9 else found, rel=1e-9)
