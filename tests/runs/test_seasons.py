from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.runs.seasons import SEASON_START, BadSeasonStart, parse_start, season_name, season_years


def test_seasons_begin_in_july_unless_somebody_says_otherwise() -> None:
    assert parse_start(SEASON_START) == (7, 1)


@pytest.mark.parametrize("text", ["13-01", "02-29", "02-30", "7", "1 July", "", "00-10", "07-1x"])
def test_a_day_that_no_year_or_not_every_year_has_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(BadSeasonStart, match=r"MM-DD, for example 07-01"):
        parse_start(text)


def test_a_season_is_named_by_both_its_years_and_a_calendar_year_by_one() -> None:
    assert season_name(2025, (7, 1)) == "2025/26"
    assert season_name(1999, (7, 1)) == "1999/00"
    assert season_name(2025, (1, 1)) == "2025"


def test_the_first_moment_of_a_season_belongs_to_it_and_the_last_to_the_one_before() -> None:
    zone = ZoneInfo("America/Regina")  # six hours behind UTC all year
    first = 1_751_349_600.0  # 2025-07-01 06:00 UTC
    found = season_years(np.array([first - 0.001, first]), (7, 1), zone)
    assert found.tolist() == [2024, 2025]


@given(
    seconds=st.lists(st.floats(min_value=0, max_value=4e9), min_size=1, max_size=20),
    month=st.integers(1, 12),
    day=st.integers(1, 28),
)
def test_seasons_rise_with_time(seconds: list[float], month: int, day: int) -> None:
    years = season_years(np.array(sorted(seconds)), (month, day), ZoneInfo("Europe/Vienna"))
    assert np.all(np.diff(years) >= 0)
