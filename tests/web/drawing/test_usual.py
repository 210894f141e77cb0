"""The EWMA chart of a press's output against its own usual: what it averages, its sentence and its rows."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from math import exp, log

import pytest

from tests.mills.forecast_shop import Shop, day
from wearlog.history.record import load
from wearlog.service.queries import work_on
from wearlog.web.drawing.charts.shown import throughput_chart
from wearlog.web.drawing.charts.throughput import MARKED, season_throughput
from wearlog.web.drawing.charts.usual import Average, UsualChart, averages_of

AT = "2026-11-20"
USUAL = [100, 104, 98, 102, 97, 103, 99, 101]
"""Kilograms in an hour of the eight runs that are the usual."""


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop()


def press_with(shop: Shop, rates: list[float], *, first: date = date(2026, 9, 1), apart: int = 1) -> Shop:
    for number, rate in enumerate(rates):
        shop.run(f"{first + timedelta(days=apart * number)} 06:00", 10, 10 * rate)
    return shop


def averages(shop: Shop) -> tuple[str, list[Average]]:
    press, record = shop.press(), load(day(AT))
    since = datetime(2020, 1, 1, tzinfo=UTC)
    season = season_throughput(record, press.pk, work_on(press, parts=[], actions=MARKED, since=since))
    said, found = averages_of(record, press.pk, season, "metric")
    return said, list(found)


def chart(shop: Shop) -> UsualChart:
    found = throughput_chart(load(day(AT)), shop.press().pk, name="North", system="metric", services=[]).usual
    assert found is not None
    return found


def test_the_first_eight_runs_are_the_usual_and_each_later_one_moves_the_average_by_a_fifth(
    shop: Shop,
) -> None:
    _said, found = averages(press_with(shop, [*USUAL, 95, 105]))
    usual = sum(log(rate) for rate in USUAL) / 8
    first = 0.2 * (log(95) - usual)
    second = 0.8 * first + 0.2 * (log(105) - usual)
    assert [one.now_pct for one in found] == pytest.approx([100 * (exp(z) - 1) for z in (first, second)])
    assert [one.on for one in found] == [date(2026, 9, 9), date(2026, 9, 10)]


def test_the_band_opens_with_the_runs_and_lies_about_usual(shop: Shop) -> None:
    _said, found = averages(press_with(shop, [*USUAL, 100, 100, 100]))
    reaches = [one.most_pct for one in found]
    assert reaches == sorted(reaches)
    for one in found:
        assert (1 + one.least_pct / 100) * (1 + one.most_pct / 100) == pytest.approx(1)  # in logarithms


def test_output_that_falls_has_diamonds_and_says_since_when(shop: Shop) -> None:
    found = chart(press_with(shop, [*USUAL, *[80.0] * 12]))
    fallen = [row[0] for row in found.rows if row[4]]
    assert found.svg.split('class="points"')[1].split("</g>")[0].count("<path") == len(fallen) > 0
    assert "below its own usual since" in found.sentence
    assert f"since {fallen[0].day} September" in found.sentence


def test_output_that_holds_has_none(shop: Shop) -> None:
    found = chart(press_with(shop, [*USUAL, *USUAL]))
    assert 'class="points"' not in found.svg
    assert not any(row[4] for row in found.rows)
    assert found.sentence.startswith("Output per hour holds: no drift in the last 8 runs.")


def test_a_crop_that_presses_slower_by_nature_is_no_fall(shop: Shop) -> None:
    for number, rate in enumerate([*USUAL, *USUAL]):
        shop.run(f"2026-09-{number + 1:02} 06:00", 5, 5 * rate)
        shop.run(f"2026-09-{number + 1:02} 12:00", 5, 3 * rate, crop="linseed")
    _said, found = averages(shop)
    assert len(found) == 16
    assert not any(one.fallen for one in found)


def test_a_stop_of_more_than_two_weeks_is_a_gap(shop: Shop) -> None:
    press_with(shop, [*USUAL, 100, 101])
    press_with(shop, [99, 100], first=date(2026, 10, 20))
    _said, found = averages(shop)
    assert [one.stretch for one in found] == [0, 0, 1, 1]


def test_before_the_ninth_run_of_a_class_it_says_what_gives_a_point(shop: Shop) -> None:
    found = chart(press_with(shop, [float(rate) for rate in USUAL]))
    assert found.rows == ()
    assert found.sentence.startswith("Nothing to compare yet: the season's first 8 runs of one crop")


def test_the_rows_have_what_the_picture_shows_in_words(shop: Shop) -> None:
    found = chart(press_with(shop, [*USUAL, 95]))
    ((on, now, least, most, fallen),) = found.rows
    assert (on, fallen) == (date(2026, 9, 9), False)
    assert now == "\N{MINUS SIGN}1.1\N{NO-BREAK SPACE}%"  # 0.2 * ln(95 / 100.48) = -0.0112
    assert least.startswith("\N{MINUS SIGN}")
    assert most.startswith("+")
    assert f"now {now}" in found.svg


def test_many_runs_are_shown_by_the_last_of_each_week(shop: Shop) -> None:
    found = chart(press_with(shop, [*USUAL, *(USUAL * 9)], first=date(2026, 8, 3)))
    assert found.weekly
    # From 3 August, a Monday, 80 days; the first week has no run after its eight.
    assert [row[0] for row in found.rows][:2] == [date(2026, 8, 16), date(2026, 8, 23)]
    assert len(found.rows) == 11
