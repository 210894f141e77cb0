"""What was promised against what came."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.calc.conformal import DayRange
from wearlog.calc.track import Promise, crossing, summary


def promise(early: float, mid: float, late: float, came: float, lumped: float | None = None) -> Promise:
    return Promise(made_on=0, came=came, range=DayRange(early=early, mid=mid, late=late), lumped=lumped)


def test_counts_errors_and_widths_are_those_of_the_promises() -> None:
    found = summary(
        [
            promise(90, 100, 110, came=104, lumped=120),
            promise(90, 100, 110, came=89, lumped=99),
            promise(90, 100, 130, came=131),
        ]
    )
    assert (found.edges, found.ranged, found.held, found.early, found.late) == (3, 3, 1, 1, 1)
    assert found.mean_error == pytest.approx((4 + 11 + 31) / 3)
    assert found.mean_bias == pytest.approx((4 - 11 + 31) / 3)
    assert found.median_width == 20


def test_the_lumped_rate_is_compared_on_the_same_edges_only() -> None:
    found = summary([promise(90, 100, 110, came=104, lumped=120), promise(90, 100, 110, came=400)])
    assert (found.paired, found.paired_error, found.lumped_error) == (1, 4, 16)


def test_below_five_edges_there_are_counts_and_no_shares() -> None:
    four = [promise(90, 100, 110, came=104, lumped=120)] * 4
    assert summary(four).share_held is None
    assert summary(four).against_lumped is None
    assert summary([*four, four[0]]).share_percent == 100
    assert summary([*four, four[0]]).against_lumped == 0.25


def test_a_promise_without_a_full_range_is_counted_apart() -> None:
    found = summary([Promise(made_on=0, came=5, range=None, lumped=5)])
    assert (found.edges, found.ranged, found.held) == (1, 0, 0)
    assert found.mean_error is None
    assert found.median_width is None


def test_nothing_promised_is_nothing_said() -> None:
    found = summary([])
    assert (found.edges, found.share_held, found.mean_error, found.lumped_error) == (0, None, None, None)


def test_the_limit_is_crossed_on_the_line_between_the_two_gauges_around_it() -> None:
    assert crossing([1000, 2000], [0.2, 0.6], 0.4) == 1500
    assert crossing([1000, 2000], [0.2, 0.4], 0.4) == 2000


def test_before_the_first_gauge_the_line_starts_at_a_new_edge() -> None:
    assert crossing([1000], [0.8], 0.4) == 500


def test_a_reading_past_the_limit_that_a_later_one_contradicts_does_not_count() -> None:
    assert crossing([1000, 2000, 3000], [0.5, 0.2, 0.3], 0.4) is None
    assert crossing([1000, 2000, 3000], [0.5, 0.2, 0.6], 0.4) == 2500


def test_without_a_gauge_nothing_is_crossed() -> None:
    assert crossing([], [], 0.4) is None


@given(
    st.lists(st.tuples(st.floats(0, 1000), st.floats(-0.1, 1.0)), max_size=12),
    st.floats(0.01, 0.9),
)
def test_the_crossing_lies_within_what_the_gauges_leave_open(
    steps: list[tuple[float, float]], budget: float
) -> None:
    seed, total = [], 0.0
    for kg, _ in steps:
        total += kg
        seed.append(total)
    worn = [value for _, value in steps]
    found = crossing(seed, worn, budget)
    below = [place for place, value in enumerate(worn) if value < budget]
    if not worn or worn[-1] < budget:
        assert found is None
    else:
        assert found is not None
        first = below[-1] + 1 if below else 0
        assert (seed[below[-1]] if below else 0.0) - 1e-6 <= found <= seed[first] + 1e-6
