"""A plan under way goes on as it was kept so far."""

from __future__ import annotations

import numpy as np
import pytest

from wearlog.calc.season import DailySeed, PlanLine, PlanMisses
from wearlog.calc.underway import lines_as_kept

USUAL = PlanMisses(ratio=1.0, spread=0.15, lines=6)


def a_line(start: int, end: int, seed_kg: float = 10_000, crop: int = 0) -> PlanLine:
    return PlanLine(crop=crop, start=start, end=end, seed_kg=seed_kg)


def kept(line: PlanLine, daily: list[float], *, first: int = 100, misses: PlanMisses = USUAL) -> float:
    """What a plan of 100 days from day 100 on stands at after so many days of seed."""
    past = DailySeed(first=first, kg=np.array([daily, [0.0] * len(daily)]).T)
    [answer] = lines_as_kept(as_of=first + len(daily) - 1, past=past, plan=[line], misses=misses)
    return answer.seed_kg


def test_a_season_kept_to_the_letter_leaves_the_plan_alone() -> None:
    assert kept(a_line(100, 199), [100.0] * 40) == pytest.approx(10_000)


def test_a_season_that_lags_is_expected_to_lag_on() -> None:
    # Eight tenths, with days that all look alike: hardly any doubt.
    assert kept(a_line(100, 199), [80.0] * 40) == pytest.approx(8_000, rel=0.02)


def test_the_longer_it_lasts_the_more_it_tells() -> None:
    one_day, week, month = (kept(a_line(100, 199), [60.0, 100.0] * days) for days in (1, 4, 20))
    assert 10_000 > one_day > week > month > 8_000


def test_a_mill_that_keeps_its_plans_closely_is_taken_at_its_word_longer() -> None:
    uneven = [0.0, 160.0] * 10
    close = PlanMisses(ratio=1.0, spread=0.03, lines=20)
    assert kept(a_line(100, 199), uneven) < kept(a_line(100, 199), uneven, misses=close) < 10_000


def test_the_usual_miss_is_not_counted_twice() -> None:
    usual = PlanMisses(ratio=0.8, spread=0.15, lines=20)
    assert kept(a_line(100, 199), [80.0] * 40, misses=usual) == pytest.approx(10_000)


def test_a_season_that_has_not_begun_to_press_is_not_written_off() -> None:
    assert 10_000 / 4 <= kept(a_line(100, 199), [0.0] * 50) < 10_000


def test_lines_that_are_over_to_come_or_of_another_crop_stay_as_they_are() -> None:
    past = DailySeed(first=100, kg=np.array([[50.0, 0.0]] * 40))
    lines = [a_line(20, 90), a_line(100, 139), a_line(140, 200), a_line(300, 400, crop=1)]
    assert lines_as_kept(as_of=139, past=past, plan=lines, misses=USUAL) == lines


def test_a_plan_older_than_the_press_counts_from_the_press_s_first_day() -> None:
    # Planned for 100 days from day 60 on, pressed from day 100 on at the planned pace.
    assert kept(a_line(60, 159), [100.0] * 30) == pytest.approx(10_000)
