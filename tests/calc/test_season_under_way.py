"""A plan under way goes on as it was kept so far."""

from __future__ import annotations

import numpy as np
import pytest

from wearlog.calc.season import DailySeed, PlanLine, PlanMisses, coming_season

USUAL = PlanMisses(ratio=1.0, spread=0.15, lines=6)
LINE = PlanLine(crop=0, start=100, end=199, seed_kg=10_000)


def a_day_to_come(
    daily: list[float], *, misses: PlanMisses = USUAL, line: PlanLine = LINE, day: int = 0
) -> float:
    """Seed expected on the next day (or a later one) after so many days of seed from day 100 on."""
    past = DailySeed(first=100, kg=np.array([daily, [0.0] * len(daily)]).T)
    season = coming_season(as_of=99 + len(daily), past=past, plan=[line], misses=misses)
    assert season is not None
    return float(season.kg[day, line.crop])


def test_a_season_kept_to_the_letter_leaves_the_plan_alone() -> None:
    assert a_day_to_come([100.0] * 40) == pytest.approx(100)


def test_a_season_that_lags_is_expected_to_lag_on_and_not_to_catch_up() -> None:
    assert 80 < a_day_to_come([80.0] * 60) < 92


def test_the_longer_it_lasts_the_more_it_tells() -> None:
    one_day, week, season = (a_day_to_come([80.0] * days) for days in (1, 8, 60))
    assert 100 > one_day > week > season > 80


def test_a_mill_that_keeps_its_plans_closely_is_taken_at_its_word_longer() -> None:
    close = PlanMisses(ratio=1.0, spread=0.03, lines=20)
    assert a_day_to_come([80.0] * 20) < a_day_to_come([80.0] * 20, misses=close) < 100


def test_the_usual_miss_is_not_counted_twice() -> None:
    usual = PlanMisses(ratio=0.8, spread=0.15, lines=20)
    assert a_day_to_come([80.0] * 40, misses=usual) == pytest.approx(80)


def test_a_season_that_has_not_begun_to_press_is_not_written_off() -> None:
    assert 25 <= a_day_to_come([0.0] * 50) < 100


def test_a_plan_to_come_or_of_another_crop_is_not_touched_by_it() -> None:
    later = PlanLine(crop=0, start=150, end=249, seed_kg=10_000)
    assert a_day_to_come([60.0] * 40, line=later, day=20) == pytest.approx(100)


def test_a_plan_older_than_the_press_counts_from_the_press_s_first_day() -> None:
    # Planned for 100 days from day 60 on, pressed from day 100 on at the planned pace.
    older = PlanLine(crop=0, start=60, end=159, seed_kg=10_000)
    assert a_day_to_come([100.0] * 30, line=older) == pytest.approx(100)
