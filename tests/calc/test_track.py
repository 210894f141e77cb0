"""What was promised against what came."""

from __future__ import annotations

import pytest

from wearlog.calc.conformal import Range
from wearlog.calc.track import Promise, crossing, summary

RANGE = Range(early=90, mid=100, late=120)


def test_the_limit_is_crossed_between_the_two_gauges_around_it() -> None:
    assert crossing([10, 20, 30], [0.1, 0.3, 0.5], 0.4) == pytest.approx(25)


def test_the_first_gauge_past_the_limit_counts_from_a_new_edge() -> None:
    assert crossing([20], [0.8], 0.4) == pytest.approx(10)


def test_one_far_reading_that_the_next_contradicts_does_not_count() -> None:
    assert crossing([10, 20, 30], [0.1, 0.5, 0.3], 0.4) is None
    assert crossing([10, 20, 30, 40], [0.1, 0.5, 0.3, 0.5], 0.4) == pytest.approx(35)


def test_an_edge_below_its_limit_has_not_crossed_it() -> None:
    assert crossing([], [], 0.4) is None
    assert crossing([10], [0.39], 0.4) is None


def test_promises_are_counted_by_where_the_day_fell() -> None:
    promises = [
        Promise(said_on=40, came=95, range=RANGE, lumped=115),
        Promise(said_on=40, came=121, range=RANGE, lumped=101),
        Promise(said_on=40, came=80, range=RANGE),
        Promise(said_on=40, came=100, range=None, lumped=100),
    ]
    found = summary(promises)
    assert (found.edges, found.ranged, found.held, found.early, found.late) == (4, 3, 1, 1, 1)
    assert found.mean_error == pytest.approx((5 + 21 + 20) / 3)
    assert found.median_width == 30
    assert (found.paired, found.paired_error, found.lumped_error) == (2, 13, 20)


def test_below_five_edges_there_are_counts_and_no_shares() -> None:
    four = [Promise(said_on=40, came=100, range=RANGE, lumped=110)] * 4
    assert summary(four).share_held is None
    assert summary(four).against_lumped is None
    five = [Promise(said_on=40, came=105, range=RANGE, lumped=115)] * 5
    assert summary(five).share_held == 1
    assert summary(five).against_lumped == pytest.approx(0.5)


def test_nothing_promised_is_nothing_said() -> None:
    found = summary([])
    assert (found.edges, found.mean_error, found.median_width) == (0, None, None)
