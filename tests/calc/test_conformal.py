"""Ranges corrected by a mill's own record, each side for itself."""

from __future__ import annotations

from math import ceil, exp, inf, log
from statistics import NormalDist, fmean

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.calc.conformal import (
    AS_GIVEN,
    NARROWEST,
    WIDEST,
    DayRange,
    History,
    RangeFactors,
    SideFactors,
    SideScores,
    corrected,
    factor,
    forward,
    interval_score,
    learned,
    raw_factor,
    scores_on,
    side_scores,
)

TENTH = NormalDist().inv_cdf(0.9)

scores = st.lists(st.one_of(st.floats(-50, 50), st.just(inf), st.just(-inf)), max_size=60)
ranges = st.tuples(st.floats(-500, 500), st.floats(0, 300), st.floats(0, 300)).map(
    lambda drawn: DayRange(early=drawn[0] - drawn[1], mid=drawn[0], late=drawn[0] + drawn[2])
)
sides = st.tuples(st.floats(NARROWEST, WIDEST), st.floats(NARROWEST, WIDEST))


def given_range(mid: float, half: float = 10) -> DayRange:
    return DayRange(early=mid - half, mid=mid, late=mid + half)


def finished(number: int, away: float, kind: int = 0) -> History:
    """An edge that came on day 100 + its number, `away` days later than what was said 60 days before."""
    came = 100.0 + number
    return History(forecasts=((came - 60, given_range(came - away)),), kind=kind, came=came, known_on=came)


def late_scores(day: float, histories: list[History]) -> list[float]:
    return [one.late for one in scores_on(day, histories)]


def test_a_score_counts_halves_of_its_own_side_and_is_negative_on_the_other_side() -> None:
    lopsided = DayRange(early=90, mid=100, late=140)

    def both(came: float) -> tuple[float, float]:
        found = side_scores(lopsided, came)
        return found.early, found.late

    assert both(100) == (0, 0)
    assert both(140) == (-4, 1)
    assert both(120) == (-2, 0.5)
    assert both(90) == (1, -0.25)
    assert both(70) == (3, -0.75)


def test_a_range_without_width_holds_its_own_day_only() -> None:
    point = DayRange(early=5, mid=5, late=5)
    assert side_scores(point, 5) == SideScores(early=0, late=0)
    assert side_scores(point, 6) == SideScores(early=-inf, late=inf)
    assert side_scores(point, 4) == SideScores(early=inf, late=-inf)


@given(ranges, st.floats(-2000, 2000))
def test_a_side_held_where_its_score_is_one_or_less(one: DayRange, came: float) -> None:
    found = side_scores(one, came)
    if one.early < one.mid < one.late and abs(found.early - 1) > 1e-9 and abs(found.late - 1) > 1e-9:
        assert (found.early <= 1) == (came >= one.early)
        assert (found.late <= 1) == (came <= one.late)


def test_seven_edges_correct_nothing_and_eight_do() -> None:
    assert factor([2.0] * 7) == 1
    assert factor([2.0] * 8) == pytest.approx(2 ** (8 / 40))


def test_the_raw_factor_is_the_score_that_nine_of_ten_and_one_more_stay_within() -> None:
    # ceil(21 * 0.9) = 19th smallest of 20; counted by hand
    assert raw_factor([0.1 * number for number in range(1, 21)]) == pytest.approx(1.9)
    # ceil(10 * 0.9) = 9th smallest of 9, and of 19 the 18th
    assert raw_factor(list(range(9))) == 8
    assert raw_factor(list(range(19))) == 17


@given(st.lists(st.floats(-50, 50), min_size=10, max_size=61, unique=True))
def test_exactly_so_many_of_exchangeable_edges_stay_within_the_factor_of_the_others(
    found: list[float],
) -> None:
    """Each of n + 1 edges is the next one equally often; the probability is then a count."""
    within = sum(one <= raw_factor([*found[:place], *found[place + 1 :]]) for place, one in enumerate(found))
    assert within == ceil(len(found) * 9 / 10)


@given(st.lists(st.integers(-3, 3), min_size=10, max_size=61))
def test_with_ties_at_least_so_many_do(found: list[int]) -> None:
    within = sum(one <= raw_factor([*found[:place], *found[place + 1 :]]) for place, one in enumerate(found))
    assert within >= ceil(len(found) * 9 / 10)


def test_no_scores_have_no_quantile() -> None:
    with pytest.raises(ValueError, match="no scores"):
        raw_factor([])


def test_forty_edges_are_believed_in_full_and_twenty_by_half_of_the_logarithm() -> None:
    assert factor([2.0] * 40) == 2
    assert factor([2.0] * 20) == pytest.approx(2**0.5)
    assert factor([0.6] * 40) == 0.6
    assert factor([0.6] * 20) == pytest.approx(0.6**0.5)


def test_edges_that_hold_too_often_narrow_a_range_to_half_at_most() -> None:
    assert factor([0.7] * 40) == 0.7
    assert factor([0.2] * 40) == NARROWEST
    assert factor([-3.0] * 40) == NARROWEST


@given(scores)
def test_the_factor_lies_between_a_half_and_three(found: list[float]) -> None:
    assert NARROWEST <= factor(found) <= WIDEST
    if len(found) < 8:
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


@given(ranges, sides, sides, st.floats(-2000, 2000))
def test_a_wider_range_holds_whatever_a_narrower_one_held(
    one: DayRange, by: tuple[float, float], more: tuple[float, float], came: float
) -> None:
    (low_early, high_early), (low_late, high_late) = sorted((by[0], more[0])), sorted((by[1], more[1]))
    narrow = corrected(one, SideFactors(early=low_early, late=low_late))
    wide = corrected(one, SideFactors(early=high_early, late=high_late))
    assert wide.early <= narrow.early <= wide.mid == one.mid <= narrow.late <= wide.late
    assert wide.holds(came) or not narrow.holds(came)


def test_each_side_is_moved_by_its_own_factor() -> None:
    found = corrected(DayRange(early=90, mid=100, late=140), SideFactors(early=2, late=0.5))
    assert found == DayRange(early=80, mid=100, late=120)


def test_edges_that_come_early_move_the_early_day_out_and_the_late_day_in() -> None:
    early = [side_scores(given_range(100), 85)] * 40
    assert learned(early).factors.pooled == SideFactors(early=1.5, late=NARROWEST)


def test_a_kind_has_its_own_factors_from_twenty_edges_on_and_else_those_of_all() -> None:
    many = [SideScores(kind=1, early=2, late=2)] * 20
    few = [SideScores(kind=2, early=0.5, late=0.5)] * 19
    found = learned([*many, *few])
    assert found.judged == 39
    assert found.judged_of == {1: 20}
    assert found.factors.of(1).early == found.factors.of(1).late == pytest.approx(2**0.5)
    # Of all 39, ceil(40 * 0.9) = the 36th smallest is one of the kind that came badly.
    pooled = exp(log(2) * 39 / 40)
    assert found.factors.of(2) == found.factors.of(3) == SideFactors(early=pooled, late=pooled)
    assert set(learned([*many, *few, few[0]]).factors.own) == {1, 2}


def test_below_eight_edges_of_all_kinds_every_range_stands() -> None:
    found = learned([SideScores(kind=number % 2, early=3, late=3) for number in range(7)])
    assert found.factors == RangeFactors()
    assert found.factors.of(1).changes_nothing


def simulated(edges: int, spread: float, rng: np.random.Generator) -> SideFactors:
    """The factors that a mill learns whose ranges are `1 / spread` times as wide as they should be."""
    away = rng.normal(0, spread / TENTH, edges)
    pairs = [SideScores(early=-one, late=one) for one in away.tolist()]
    return learned(pairs).factors.pooled


@pytest.mark.parametrize(("name", "spread"), [("too wide", 0.5), ("too narrow", 2.0)])
def test_ranges_off_by_two_come_to_hold_in_75_to_85_of_100_with_40_edges(name: str, spread: float) -> None:
    rng = np.random.default_rng(5)
    days = NormalDist(0, spread / TENTH)
    assert not 0.75 <= days.cdf(1) - days.cdf(-1) <= 0.85  # as given
    found = [simulated(40, spread, rng) for _ in range(400)]
    held = fmean(days.cdf(one.late) - days.cdf(-one.early) for one in found)
    before = fmean(days.cdf(-one.early) for one in found)
    after = fmean(1 - days.cdf(one.late) for one in found)
    assert 0.75 <= held <= 0.85
    assert 0.07 <= before <= 0.12
    assert 0.07 <= after <= 0.12


def mean_score(by: SideFactors, days: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    given = corrected(DayRange(early=-1, mid=0, late=1), by)
    return fmean(interval_score(given, day) for day in days.tolist())


@pytest.mark.parametrize("edges", [8, 12, 20, 30])
def test_few_edges_are_drawn_toward_one_because_raw_factors_make_ranges_worse(edges: int) -> None:
    """The mean interval score, in half-widths that would be right, of mills whose ranges are off by a factor
    of spread 0.3."""
    rng = np.random.default_rng(6)
    as_given, raw, drawn = [], [], []
    for _ in range(300):
        spread = float(np.exp(rng.normal(0, 0.3)))
        away = rng.normal(0, spread / TENTH, edges).tolist()
        days = rng.normal(0, spread / TENTH, 60)
        at_once = [min(max(raw_factor(side), NARROWEST), WIDEST) for side in ([-one for one in away], away)]
        learned_here = learned([SideScores(early=-one, late=one) for one in away]).factors.pooled
        raw.append(mean_score(SideFactors(early=at_once[0], late=at_once[1]), days) / spread)
        drawn.append(mean_score(learned_here, days) / spread)
        as_given.append(mean_score(AS_GIVEN, days) / spread)
    assert fmean(drawn) < fmean(raw)
    assert fmean(drawn) < fmean(as_given)
    if edges < 20:
        assert fmean(raw) > fmean(as_given)


def test_the_interval_score_is_width_and_ten_times_what_lies_outside() -> None:
    assert interval_score(given_range(100), 105) == 20
    assert interval_score(given_range(100), 113) == 50
    assert interval_score(given_range(100), 88) == 40


def test_only_edges_finished_before_the_forecast_day_are_judged() -> None:
    edges = [finished(0, -15), finished(1, -5)]
    assert late_scores(100, edges) == []
    assert late_scores(101, edges) == [-1.5]
    assert late_scores(102, edges) == [-1.5, -0.5]


def test_an_edge_whose_end_the_log_could_not_tell_yet_is_not_judged() -> None:
    late = History(forecasts=((0, given_range(95)),), came=100, known_on=130)
    assert late_scores(103, [late]) == []
    assert late_scores(130, [late]) == [inf]  # past its late day, 105, and not known to be finished
    assert late_scores(131, [late]) == [0.5]


def test_an_unfinished_edge_past_its_late_day_is_a_miss_of_the_late_side_alone() -> None:
    edge = History(forecasts=((0, given_range(80)),))
    assert scores_on(90, [edge]) == []
    assert scores_on(91, [edge]) == [SideScores(early=-inf, late=inf)]


def test_an_edge_that_was_lost_before_is_not_judged() -> None:
    assert late_scores(91, [History(forecasts=((0, given_range(80)),), ended=70)]) == []


def test_each_edge_gives_one_score_by_what_was_said_sixty_days_before() -> None:
    edge = History(
        forecasts=((10, given_range(300)), (40, given_range(95)), (90, given_range(100))),
        came=100,
        known_on=100,
    )
    assert late_scores(101, [edge]) == [0.5]


def test_what_is_reported_uses_nothing_that_came_later() -> None:
    # Forty edges a day apart were said 15 days too early, by ranges of 10 days each way: none of them held.
    # The late side misses by 1.5 halves. Those that were asked for after all forty were known get 1.5 times
    # that half, and hold; of the early side half is taken.
    first = [finished(number, 15) for number in range(40)]
    later = [finished(number, 15) for number in range(200, 205)]
    found = forward([*first, *later])
    assert (found.edges, found.held_as_given, found.held_corrected, found.corrected) == (45, 0, 5, 5)
    assert (found.before_corrected, found.after_corrected) == (0, 40)
    assert found.score_as_given == 20 + 10 * 5
    assert found.score_corrected == pytest.approx((40 * 70 + 5 * (5 + 15)) / 45)


def test_what_comes_later_leaves_the_report_of_earlier_edges_as_it_was() -> None:
    first = [finished(number, 15) for number in range(40)] + [finished(200, 15)]
    alone = forward(first)
    with_wild = forward([*first, finished(300, 900)])
    assert with_wild.held_corrected == alone.held_corrected == 1


def test_the_report_corrects_each_kind_by_its_own() -> None:
    wide = [finished(number, 15, kind=1) for number in range(40)]
    right = [finished(number, 0, kind=2) for number in range(40)]
    later = [finished(200, 15, kind=1), finished(200, -9, kind=2)]
    found = forward([*wide, *right, *later])
    # The first kind's late day is moved to 15 days after the middle; of the second kind half is left.
    assert (found.held_as_given, found.held_corrected) == (41, 41)
    assert (found.before_corrected, found.after_corrected, found.corrected) == (1, 40, 2)


def test_without_a_finished_edge_there_is_no_report() -> None:
    found = forward([])
    assert (found.edges, found.score_as_given, found.score_corrected) == (0, None, None)
