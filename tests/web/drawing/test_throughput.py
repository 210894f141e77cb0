"""What the chart of a press's throughput shows: its points, its work, and the sentence above it."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.utils import translation

from tests.mills.forecast_shop import Shop, day
from wearlog.history.record import Record, load
from wearlog.runs.models import Run
from wearlog.service.queries import work_on
from wearlog.web.drawing.charts.shown import drawn, sentence_of, throughput_chart
from wearlog.web.drawing.charts.throughput import MARKED, SeasonThroughput, season_throughput

TODAY = "2026-10-01"
LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop()


def record_of(at: str = TODAY) -> Record:
    return load(day(at))


def season_of(shop: Shop, at: str = TODAY) -> SeasonThroughput:
    press = shop.press()
    return season_throughput(
        record_of(at), press.pk, work_on(press, parts=[], actions=MARKED, since=LONG_AGO)
    )


def test_each_run_is_a_point_of_its_seed_over_its_hours(shop: Shop) -> None:
    shop.run("2026-09-01 06:00", 10, 160)
    shop.run("2026-09-03 06:00", 8, 120)
    found = season_of(shop)
    assert not found.weekly
    assert [(point.on, point.kg_per_h) for point in found.points] == [
        (date(2026, 9, 1), 16.0),
        (date(2026, 9, 3), 15.0),
    ]


def test_hours_that_the_meter_counted_go_before_the_clock(shop: Shop) -> None:
    run = shop.run("2026-09-01 06:00", 10, 160, recorded=False)
    shop.read("2026-09-01 06:00", 100)
    shop.read("2026-09-01 16:00", 108)
    assert run.hours_h is None
    # 160 kg in the 8 h that the meter went, by the one rule of hours
    assert [point.kg_per_h for point in season_of(shop).points] == [pytest.approx(20.0)]


def test_more_than_sixty_runs_become_a_point_for_each_week_and_crop(shop: Shop) -> None:
    shop.runs("2026-07-06", 61, hours=10, kg=160)  # from a Monday: eight weeks and five days
    shop.run("2026-07-08 18:00", 5, 60, crop="linseed")
    found = season_of(shop)
    assert found.weekly
    assert len(found.points) == 9 + 1
    assert {point.on.weekday() for point in found.points} == {0}
    week = next(point for point in found.points if point.crop == "rapeseed")
    assert (week.seed_kg, week.hours_h) == (1120.0, 70.0)
    assert [rate.crop for rate in found.crops] == ["rapeseed", "linseed"]


def test_sixty_runs_are_still_shown_one_by_one(shop: Shop) -> None:
    shop.runs("2026-07-06", 60)
    found = season_of(shop)
    assert not found.weekly
    assert len(found.points) == 60


def test_purges_guesses_and_runs_without_hours_are_left_out_and_counted(shop: Shop) -> None:
    shop.run("2026-09-01 06:00", 10, 160)
    Run.objects.filter(pk=shop.run("2026-09-02 06:00", 10, 50).pk).update(purge=True)
    Run.objects.filter(pk=shop.run("2026-09-03 06:00", 10, 300).pk).update(seed_how="about")
    Run.objects.filter(pk=shop.run("2026-09-04 06:00", 10, 300).pk).update(seed_how="worked_out")
    shop.run("2026-09-05 06:00", 0, 300)
    found = season_of(shop)
    assert [point.kg_per_h for point in found.points] == [16.0]
    assert found.left_out == 4


def test_a_line_ends_at_another_crop_and_at_a_stop_of_more_than_two_weeks(shop: Shop) -> None:
    shop.run("2026-08-01 06:00", 10, 160)
    shop.run("2026-08-02 06:00", 10, 160)
    shop.run("2026-08-03 06:00", 10, 130, crop="sunflower")
    shop.run("2026-08-04 06:00", 10, 160)
    shop.run("2026-08-18 06:00", 10, 160)  # 13 days and 14 hours after the end of the last one
    shop.run("2026-09-02 06:00", 10, 160)  # 14 days and 14 hours
    assert [point.stretch for point in season_of(shop).points] == [0, 0, 1, 2, 2, 3]


def test_the_last_season_that_has_a_point_stands_in_for_one_without(shop: Shop) -> None:
    shop.run("2025-09-01 06:00", 10, 160)
    shop.run("2026-05-01 06:00", 10, 150)
    shop.run("2026-09-01 06:00", 10, 150)
    Run.objects.filter(started_at__year=2026, started_at__month=9).update(purge=True)
    found = season_of(shop)
    assert (found.season, found.this_season, found.is_earlier) == ("2025/26", "2026/27", True)
    assert sentence_of(found, "metric") == (
        "Nothing to show yet in season 2026/27. "
        "Season 2025/26, run by run: rapeseed 15.5 kg/h (15.0 to 16.0)."
    )
    assert drawn(record_of(), found, "metric").today == ""


def test_the_sentence_has_rate_and_range_of_each_crop_the_most_pressed_first(shop: Shop) -> None:
    shop.run("2026-09-01 06:00", 10, 160)
    shop.run("2026-09-02 06:00", 5, 70)
    shop.run("2026-09-03 06:00", 4, 50, crop="linseed")
    # rapeseed 230 kg in 15 h
    assert sentence_of(season_of(shop), "metric") == (
        "Season 2026/27, run by run: rapeseed 15.3 kg/h (14.0 to 16.0), linseed 12.5 kg/h."
    )
    # 230 kg / 0.45359237 = 507.06 lb in 15 h
    assert "rapeseed 33.8 lb/h (30.9 to 35.3)" in sentence_of(season_of(shop), "us")


def test_replacements_flips_polishes_and_gauges_of_the_season_are_marked(shop: Shop) -> None:
    shop.runs("2026-09-01", 10)
    die = shop.part("D6-11", shop.type("die-6", "die", edges=2, new_mm=6.0, limit_mm=6.4))
    shop.fit(die, "2026-08-01", edge="A", position="die")
    shop.serve("2026-08-15 12:00", "polish", part=die)  # before the first point
    flip = shop.serve("2026-09-03 18:00", "flip", part=die, edge="A")
    shop.gauge("2026-09-03 18:05", die, 6.3, edge="A", service=flip)  # part of the flip
    shop.serve("2026-09-04 18:00", "lubricate")
    shop.serve("2026-09-05 18:00", "polish", part=die, edge="B")
    shop.gauge("2026-09-06 18:00", die, 6.1, edge="B")
    shop.gauge("2026-09-06 18:10", die, 6.1, edge="B")  # once more on the same day
    shop.serve("2026-09-07 18:00", "replace")
    shop.serve("2026-09-08 18:00", "flip", press="P2")
    assert [(work.on.day, work.action, work.part) for work in season_of(shop).work] == [
        (3, "flip", "die D6-11, edge A"),
        (5, "polish", "die D6-11, edge B"),
        (6, "measure", "die D6-11, edge B"),
        (7, "replace", ""),
    ]


def test_a_gauge_in_the_store_is_not_marked_on_the_press_where_the_part_sat_before(shop: Shop) -> None:
    shop.runs("2026-09-01", 10)
    die = shop.part("D6-11", shop.type("die-6", "die"))
    shop.fit(die, "2026-08-01", "2026-09-02 20:00", position="die")
    shop.gauge("2026-09-04 18:00", die, 6.1)
    assert season_of(shop).work == ()


def test_without_a_point_there_are_an_axis_and_a_sentence(shop: Shop) -> None:
    shown = throughput_chart(record_of(), shop.press().pk, name="North", system="metric", services=[])
    assert shown.sentence == "No run yet with weighed seed and hours: the first one gives a point."
    assert "axis-domain" in shown.svg
    assert "circle" not in shown.svg
    assert ">0</text>" in shown.svg
    assert ">10</text>" not in shown.svg


def test_the_picture_speaks_the_language_of_its_reader(shop: Shop) -> None:
    shop.run("2026-09-01 06:00", 10, 1.6)
    shop.run("2026-09-20 06:00", 10, 1.2)
    pictures = {}
    for language in ("en", "de"):
        with translation.override(language):
            shown = throughput_chart(record_of(), shop.press().pk, name="North", system="metric", services=[])
            pictures[language] = shown.svg
    assert ">0.10</text>" in pictures["en"]
    assert ">0,10</text>" in pictures["de"]
    assert ">7 Sep</text>" in pictures["en"]
    assert ">7. Sep" in pictures["de"]
