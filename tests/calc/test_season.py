"""From seed left to a date, on paths that can be followed with a pencil."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wearlog.calc.season import (
    DailySeed,
    PlanLine,
    PlanMisses,
    Reach,
    coming_season,
    plan_misses,
    reach,
)
from wearlog.calc.wear import EdgeFit, Quantiles, Scenarios

AS_OF = date(2026, 5, 1).toordinal()
KEPT = PlanMisses(ratio=1.0, spread=1e-9, lines=10)
IDLE = DailySeed(first=AS_OF - 9, kg=np.zeros((10, 2)))


def day(text: str) -> int:
    return date.fromisoformat(text).toordinal()


def knows(left_kg: float | np.ndarray, crops: int = 2) -> EdgeFit:
    """An edge whose seed left is known: one number, or 10 equally likely ones."""
    needed = np.broadcast_to(np.atleast_1d(np.asarray(left_kg, dtype=float)), (1, max(np.size(left_kg), 1)))
    cases = Scenarios(
        rates=np.ones((1, crops)),
        needed=needed,
        wear_now=np.zeros(needed.shape),
        multiplier=np.ones(needed.shape),
        weights=np.full(needed.shape, 1.0 / needed.size),
    )
    return EdgeFit(key="edge", basis="measured", scenarios=cases)


def line(crop: int, start: str, end: str, kg: float) -> PlanLine:
    return PlanLine(crop=crop, start=day(start), end=day(end), seed_kg=kg)


def test_a_plan_is_spread_evenly_over_its_days_both_included() -> None:
    season = coming_season(
        as_of=AS_OF, past=IDLE, plan=[line(0, "2026-08-01", "2026-08-10", 5_000)], misses=KEPT
    )
    assert season is not None
    assert season.basis == "plan"
    assert season.plan_until == day("2026-08-10")
    first = day("2026-08-01") - season.first
    assert season.kg[first : first + 10, 0].tolist() == pytest.approx([500.0] * 10)
    assert season.kg.sum() == pytest.approx(5_000)


def test_the_date_is_the_day_on_which_the_plan_has_brought_the_seed() -> None:
    plan = [line(0, "2026-08-01", "2026-08-10", 5_000)]
    season = coming_season(as_of=AS_OF, past=IDLE, plan=plan, misses=KEPT)
    # 500 kg a day from 1 August: 1,200 kg are through on the third day. One edge, no doubt: one date.
    found = reach(edge=knows(1_200), season=season)
    assert (found.early, found.mid, found.late) == (date(2026, 8, 3),) * 3
    assert found.left_kg is not None
    assert found.left_kg.mid == pytest.approx(1_500)


def test_what_is_fitted_in_the_middle_of_a_season_takes_only_what_comes_after() -> None:
    plan = [line(0, "2026-08-01", "2026-08-10", 5_000)]
    season = coming_season(as_of=AS_OF, past=IDLE, plan=plan, misses=KEPT)
    assert season is not None
    # Fitted on 4 August, at 500 kg a day: 1,200 kg are through on the third day, 6 August.
    after = season.after(day("2026-08-04"))
    assert reach(edge=knows(1_200), season=after).mid == date(2026, 8, 6)
    assert after.kg.sum() == pytest.approx(3_500)
    assert after.variance.min() >= 0
    assert season.after(AS_OF - 100) is season


def test_a_position_takes_its_share_and_a_die_only_its_crops() -> None:
    plan = [line(0, "2026-08-01", "2026-08-10", 5_000), line(1, "2026-09-01", "2026-09-10", 5_000)]
    season = coming_season(as_of=AS_OF, past=IDLE, plan=plan, misses=KEPT)
    # Half of 500 kg a day: 1,200 kg on the fifth day.
    assert reach(edge=knows(1_200), season=season, share=0.5).mid == date(2026, 8, 5)
    # The first crop passes it by.
    assert reach(edge=knows(1_200), season=season, for_crops=[1]).mid == date(2026, 9, 3)


def test_idle_time_wears_nothing() -> None:
    plan = [line(0, "2026-08-01", "2026-08-10", 5_000), line(0, "2027-08-01", "2027-08-10", 5_000)]
    season = coming_season(as_of=AS_OF, past=IDLE, plan=plan, misses=KEPT)
    assert reach(edge=knows(4_900), season=season).mid == date(2026, 8, 10)
    assert reach(edge=knows(5_100), season=season).mid == date(2027, 8, 1)


def test_of_a_plan_that_has_begun_only_the_days_that_are_left_count() -> None:
    # 20 days, 10 of them over, kept to the kilogram: 5,000 of 10,000 kg are left.
    past = DailySeed(first=AS_OF - 9, kg=np.tile([500.0, 0.0], (10, 1)))
    plan = [PlanLine(crop=0, start=AS_OF - 9, end=AS_OF + 10, seed_kg=10_000)]
    season = coming_season(as_of=AS_OF, past=past, plan=plan, misses=KEPT, horizon_days=10)
    assert season is not None
    assert season.kg.sum() == pytest.approx(5_000)


def test_a_season_that_runs_behind_its_plan_is_expected_to_go_on_somewhat_slower() -> None:
    past = DailySeed(first=AS_OF - 39, kg=np.tile([300.0, 0.0], (40, 1)))
    plan = [PlanLine(crop=0, start=AS_OF - 39, end=AS_OF + 40, seed_kg=40_000)]
    misses = PlanMisses(ratio=1.0, spread=0.15, lines=5)
    season = coming_season(as_of=AS_OF, past=past, plan=plan, misses=misses, horizon_days=40)
    assert season is not None
    assert 12_000 < season.kg.sum() < 20_000


def test_beyond_the_plan_the_press_takes_what_it_took_in_the_same_weeks() -> None:
    # Two years back: 100 kg a day in July, nothing else.
    first = day("2024-05-02")
    days = np.arange(first, AS_OF + 1)
    months = np.array([date.fromordinal(int(d)).month for d in days])
    past = DailySeed(first=first, kg=np.where((months == 7)[:, None], [100.0, 0.0], 0.0))
    season = coming_season(as_of=AS_OF, past=past, plan=[], misses=KEPT)
    assert season is not None
    assert season.basis == "same_weeks"
    assert season.plan_until is None
    july = [d - season.first for d in range(day("2026-07-05"), day("2026-07-25"))]
    assert season.kg[july, 0].tolist() == pytest.approx([100.0] * 20)
    assert season.kg[: day("2026-06-15") - season.first].sum() == 0
    assert season.kg[day("2026-07-01") - season.first :][:365, 0].sum() == pytest.approx(3_100, rel=0.01)
    # 2,000 kg of July, then eleven idle months, then the rest.
    mid = reach(edge=knows(4_000), season=season).mid
    assert mid is not None
    assert date(2027, 7, 1) < mid < date(2027, 7, 20)


def test_a_young_press_goes_on_at_its_recent_pace() -> None:
    past = DailySeed(first=AS_OF - 49, kg=np.tile([40.0, 10.0], (50, 1)))
    season = coming_season(as_of=AS_OF, past=past, plan=[], misses=KEPT)
    assert season is not None
    assert season.basis == "recent_pace"
    assert season.kg[0].tolist() == pytest.approx([40.0, 10.0])
    assert reach(edge=knows(1_000), season=season).mid == date.fromordinal(AS_OF + 20)


def test_without_plan_and_pace_there_is_no_date_but_seed_left() -> None:
    assert coming_season(as_of=AS_OF, past=IDLE, plan=[]) is None
    found = reach(edge=knows(1_200), season=None)
    assert (found.early, found.mid, found.late) == (None, None, None)
    assert found.left_kg == Quantiles(1_200.0, 1_200.0, 1_200.0)


def test_an_edge_of_which_nothing_is_known_gets_no_date() -> None:
    season = coming_season(as_of=AS_OF, past=IDLE, plan=[line(0, "2026-08-01", "2026-08-10", 5_000)])
    none = Reach(early=None, mid=None, late=None, left_kg=None)
    assert reach(edge=EdgeFit(key="edge", basis="none"), season=season) == none


def test_what_lies_beyond_plan_and_pace_has_no_date() -> None:
    season = coming_season(
        as_of=AS_OF, past=IDLE, plan=[line(0, "2026-08-01", "2026-08-10", 5_000)], misses=KEPT
    )
    found = reach(edge=knows(np.array([1_000.0] * 2 + [9_000.0] * 8)), season=season)
    assert found.early == date(2026, 8, 2)
    assert (found.mid, found.late) == (None, None)
    assert found.left_kg is not None
    assert found.left_kg.mid == pytest.approx(9_000)


def test_a_limit_that_was_passed_keeps_its_day() -> None:
    past = DailySeed(first=AS_OF - 9, kg=np.tile([100.0, 0.0], (10, 1)))
    season = coming_season(as_of=AS_OF, past=past, plan=[], misses=KEPT)
    # 250 kg too many at 100 kg a day: 300 kg ago it was not yet reached, at the end of the next day it was.
    found = reach(edge=knows(-250.0), season=season, past=past)
    assert found.mid == date.fromordinal(AS_OF - 2)
    assert reach(edge=knows(-200.0), season=season, past=past).mid == date.fromordinal(AS_OF - 2)
    assert reach(edge=knows(0.0), season=season, past=past).mid == date.fromordinal(AS_OF)
    assert found.left_kg == Quantiles(0.0, 0.0, 0.0)
    assert reach(edge=knows(-250.0), season=season).mid == date.fromordinal(AS_OF)


def test_missed_plans_widen_the_range_and_pull_its_middle() -> None:
    past = DailySeed(first=day("2024-01-01"), kg=np.zeros((AS_OF - day("2024-01-01") + 1, 2)))
    lines = []
    for year, kept in ((2024, 0.5), (2025, 1.4), (2026, 0.6)):
        start = day(f"{year}-02-01")
        lines.append(PlanLine(crop=0, start=start, end=start + 19, seed_kg=10_000))
        past.kg[start - past.first : start - past.first + 20, 0] = 500 * kept
    missed = plan_misses(as_of=AS_OF, past=past, plan=lines)
    assert missed.lines == 3
    assert missed.spread > 0.2
    ahead = line(0, "2026-08-01", "2026-09-30", 20_000)
    pulled = coming_season(as_of=AS_OF, past=past, plan=[ahead], misses=missed)
    assert pulled is not None
    assert pulled.kg[: day("2026-09-30") - pulled.first + 1].sum() < 19_500

    def width(misses: PlanMisses) -> int:
        season = coming_season(as_of=AS_OF, past=past, plan=[ahead], misses=misses)
        many = Scenarios(
            rates=np.ones((32, 2)),
            needed=np.full((32, 8), 8_000.0),
            wear_now=np.zeros((32, 8)),
            multiplier=np.ones((32, 8)),
            weights=np.full((32, 8), 1 / 256),
        )
        found = reach(edge=EdgeFit(key="e", basis="measured", scenarios=many), season=season)
        assert found.early is not None
        assert found.late is not None
        return (found.late - found.early).days

    assert width(missed) > width(PlanMisses(ratio=1.0, spread=0.05, lines=3)) > 0


def test_plans_before_the_presss_first_seed_or_not_yet_over_are_no_misses() -> None:
    past = DailySeed(first=AS_OF - 9, kg=np.tile([100.0, 0.0], (10, 1)))
    plan = [line(0, "2025-01-01", "2025-03-01", 9_000), line(0, "2026-04-25", "2026-06-01", 9_000)]
    assert plan_misses(as_of=AS_OF, past=past, plan=plan).lines == 0


seed_left = st.floats(1, 40_000)


@settings(max_examples=60, deadline=None)
@given(seed_left, st.floats(0, 10_000), st.floats(0.05, 1))
def test_more_seed_left_is_never_earlier_and_a_smaller_share_never_earlier(
    left: float, more: float, share: float
) -> None:
    plan = [line(0, "2026-08-01", "2026-10-10", 30_000), line(1, "2027-01-05", "2027-03-10", 30_000)]
    season = coming_season(as_of=AS_OF, past=IDLE, plan=plan, misses=KEPT)

    def ordinal(edge: EdgeFit, part: float) -> float:
        found = reach(edge=edge, season=season, share=part).mid
        return float("inf") if found is None else found.toordinal()

    assert ordinal(knows(left), share) <= ordinal(knows(left + more), share)
    assert ordinal(knows(left), share) >= ordinal(knows(left), 1.0)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 1),
            st.integers(-400, 400),
            st.integers(0, 90),
            st.floats(0, 1e5, allow_subnormal=False),
        ),
        max_size=5,
    ),
    st.integers(1, 800),
    st.floats(0, 1e3),
)
def test_a_season_never_runs_backwards(
    lines: list[tuple[int, int, int, float]], days: int, pace: float
) -> None:
    past = DailySeed(first=AS_OF - days + 1, kg=np.tile([pace, 0.0], (days, 1)))
    plan = [PlanLine(crop=c, start=AS_OF + s, end=AS_OF + s + n, seed_kg=kg) for c, s, n, kg in lines]
    season = coming_season(as_of=AS_OF, past=past, plan=plan, horizon_days=900)
    if season is None:
        assert pace == 0
        assert not any(kg > 0 and s + n >= 1 for _, s, n, kg in lines)
        return
    assert np.isfinite(season.kg).all()
    assert np.isfinite(season.variance).all()
    assert (season.kg >= 0).all()
    assert (np.diff(season.variance, axis=0) >= -1e-6 * season.variance.max()).all()
