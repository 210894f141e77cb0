"""Ranges widened by a record: bounded, never from a few edges, never from what came later."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.calc.conformal import History, Range, factor, forward, score, scores_on, widened

TEN = Range(early=90, mid=100, late=120)
scores = st.lists(st.floats(0, 10), max_size=60)


def test_a_day_is_scored_in_halves_of_the_range_on_its_own_side() -> None:
    assert score(TEN, 100) == 0
    assert score(TEN, 120) == 1
    assert score(TEN, 90) == 1
    assert score(TEN, 130) == 1.5
    assert score(TEN, 80) == 2
    assert score(Range(early=100, mid=100, late=100), 101) == inf


def test_nothing_is_widened_below_twenty_edges() -> None:
    assert factor([5.0] * 19) == 1
    assert factor([5.0] * 20) == 3


def test_the_factor_is_the_seventeenth_smallest_of_twenty_scores() -> None:
    """ceil(21 * 0.8) = 17, the rank of split conformal prediction (Vovk and others 2005, from memory)."""
    assert factor([0.1 * number for number in range(1, 21)]) == pytest.approx(1.7)


@given(scores)
def test_the_factor_lies_between_one_and_three(found: list[float]) -> None:
    assert 1 <= factor(found) <= 3


@given(scores, st.randoms())
def test_the_order_of_edges_is_of_no_account(found: list[float], random: object) -> None:
    shuffled = list(found)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert factor(shuffled) == factor(found)


@given(scores.filter(bool), st.data())
def test_a_worse_score_never_narrows(found: list[float], data: st.DataObject) -> None:
    place = data.draw(st.integers(0, len(found) - 1))
    worse = [*found[:place], found[place] + 1, *found[place + 1 :]]
    assert factor(worse) >= factor(found)


@given(st.floats(1, 3))
def test_a_widened_range_keeps_its_middle_and_holds_what_it_held(by: float) -> None:
    wide = widened(TEN, by)
    assert wide.mid == TEN.mid
    assert wide.early <= TEN.early
    assert wide.late >= TEN.late


def test_an_edge_that_outlives_its_range_is_a_miss_before_it_is_finished() -> None:
    unfinished = History(said=((10.0, TEN),))
    assert scores_on(121, [unfinished]) == [inf]
    assert scores_on(119, [unfinished]) == []


def test_an_edge_that_finished_later_tells_nothing_yet() -> None:
    later = History(said=((10.0, TEN),), came=110.0, known_on=112.0)
    assert scores_on(112, [later]) == []
    assert scores_on(113, [later]) == [0.5]


def test_an_edge_that_was_lost_is_not_judged() -> None:
    assert scores_on(200, [History(said=((10.0, TEN),), ended=95.0)]) == []


def test_coverage_is_forward_only() -> None:
    """Thirty edges one after the other, each a day past its range: the first twenty are judged as given."""
    histories = []
    for number in range(30):
        start = 200.0 * number
        said = Range(early=start + 90, mid=start + 100, late=start + 120)
        came = start + 121
        histories.append(History(said=((start + 10, said),), came=came, known_on=came))
    found = forward(histories)
    assert (found.edges, found.held_as_given) == (30, 0)
    assert found.corrected == 10
    assert found.held_widened == 10
