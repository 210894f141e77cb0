"""Ranges widened by a mill's own record."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.calc.conformal import (
    FEWEST_EDGES,
    WIDEST,
    DayRange,
    History,
    factor,
    forward,
    score,
    scores_on,
    widened,
)

scores = st.lists(st.one_of(st.floats(0, 50), st.just(inf)), max_size=60)
ranges = st.tuples(st.floats(-500, 500), st.floats(0, 300), st.floats(0, 300)).map(
    lambda drawn: DayRange(early=drawn[0] - drawn[1], mid=drawn[0], late=drawn[0] + drawn[2])
)


def given_range(mid: float, half: float = 10) -> DayRange:
    return DayRange(early=mid - half, mid=mid, late=mid + half)


def finished(number: int, away: float) -> History:
    """An edge that came on day 100 + its number, `away` days later than what was said 60 days before."""
    came = 100.0 + number
    return History(forecasts=((came - 60, given_range(came - away)),), came=came, known_on=came)


def test_a_score_counts_halves_of_the_range_on_the_side_on_which_the_day_came() -> None:
    lopsided = DayRange(early=90, mid=100, late=140)
    assert score(lopsided, 100) == 0
    assert score(lopsided, 140) == 1
    assert score(lopsided, 120) == 0.5
    assert score(lopsided, 90) == 1
    assert score(lopsided, 70) == 3


def test_a_range_without_width_holds_its_own_day_only() -> None:
    assert score(DayRange(early=5, mid=5, late=5), 5) == 0
    assert score(DayRange(early=5, mid=5, late=5), 6) == inf


def test_nineteen_edges_widen_nothing_and_twenty_do() -> None:
    assert factor([2.0] * 19) == 1
    assert factor([2.0] * 20) == 2


def test_the_factor_is_the_score_that_four_of_five_and_one_more_stay_within() -> None:
    # ceil(21 * 0.8) = 17th smallest of 20; counted by hand
    assert factor([0.1 * number for number in range(1, 21)]) == pytest.approx(1.7)


def test_edges_that_hold_too_often_do_not_narrow_a_range() -> None:
    assert factor([0.2] * 40) == 1


@given(scores)
def test_the_factor_lies_between_one_and_three(found: list[float]) -> None:
    assert 1 <= factor(found) <= WIDEST
    if len(found) < FEWEST_EDGES:
        assert factor(found) == 1


@given(scores.flatmap(lambda found: st.tuples(st.just(found), st.permutations(found))))
def test_the_order_of_the_edges_does_not_matter(both: tuple[list[float], list[float]]) -> None:
    assert factor(both[0]) == factor(both[1])


@given(scores.filter(bool), st.data(), st.floats(0, 50))
def test_a_worse_miss_never_makes_the_factor_smaller(
    found: list[float], data: st.DataObject, more: float
) -> None:
    place = data.draw(st.integers(0, len(found) - 1))
    worse = [*found[:place], found[place] + more, *found[place + 1 :]]
    assert factor(worse) >= factor(found)


@given(ranges, st.floats(1, 3), st.floats(1, 3), st.floats(-2000, 2000))
def test_a_wider_range_holds_whatever_a_narrower_one_held(
    one: DayRange, by: float, more: float, came: float
) -> None:
    low, high = sorted((by, more))
    narrow, wide = widened(one, low), widened(one, high)
    assert wide.early <= narrow.early <= wide.mid == one.mid <= narrow.late <= wide.late
    assert wide.holds(came) or not narrow.holds(came)


def test_only_edges_finished_before_the_forecast_day_are_judged() -> None:
    edges = [finished(0, -15), finished(1, -5)]
    assert scores_on(100, edges) == []
    assert scores_on(101, edges) == [1.5]
    assert scores_on(102, edges) == [1.5, 0.5]


def test_an_edge_whose_end_the_log_could_not_tell_yet_is_not_judged() -> None:
    late = History(forecasts=((0, given_range(95)),), came=100, known_on=130)
    assert scores_on(103, [late]) == []
    assert scores_on(130, [late]) == [inf]  # past its late day, 105, and not known to be finished
    assert scores_on(131, [late]) == [0.5]


def test_an_unfinished_edge_past_its_late_day_is_a_miss() -> None:
    edge = History(forecasts=((0, given_range(80)),))
    assert scores_on(90, [edge]) == []
    assert scores_on(91, [edge]) == [inf]


def test_an_edge_that_was_lost_before_is_not_judged() -> None:
    assert scores_on(91, [History(forecasts=((0, given_range(80)),), ended=70)]) == []


def test_each_edge_gives_one_score_by_what_was_said_sixty_days_before() -> None:
    edge = History(
        forecasts=((10, given_range(300)), (40, given_range(95)), (90, given_range(100))),
        came=100,
        known_on=100,
    )
    assert scores_on(101, [edge]) == [0.5]


def test_what_is_reported_uses_nothing_that_came_later() -> None:
    # Twenty edges a day apart were said 15 days too early, by ranges of 10 days each way: none of them held.
    # Those that were asked for after all twenty were known get 1.5 times the range, and hold.
    first = [finished(number, 15) for number in range(20)]
    later = [finished(number, 15) for number in range(200, 205)]
    found = forward([*first, *later])
    assert (found.edges, found.held_as_given, found.held_widened, found.corrected) == (25, 0, 5, 5)


def test_what_comes_later_leaves_the_report_of_earlier_edges_as_it_was() -> None:
    first = [finished(number, 15) for number in range(20)] + [finished(200, 15)]
    alone = forward(first)
    with_wild = forward([*first, finished(300, 900)])
    assert with_wild.held_widened == alone.held_widened == 1
