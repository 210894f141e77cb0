"""The season plan as a calendar: campaigns, jobs with the lock of their press, where nothing is pressed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import pytest
from django.utils import translation

from tests.mills.forecast_shop import Shop, day, items
from wearlog.forecasts.items import DueItem
from wearlog.history.record import Record, load
from wearlog.web.drawing.charts.calendar import NARROW, RIGHT, WIDE, Shape
from wearlog.web.drawing.charts.campaigns import Calendar, season_calendar
from wearlog.web.drawing.charts.plan_shown import CalendarPicture, calendar_picture, falls_in
from wearlog.web.drawing.charts.room import CHARACTER
from wearlog.web.site.frames import JobOutsideFrame, framed

TODAY = "2026-11-18"


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop()


def record_of() -> Record:
    return load(day(TODAY))


def calendar_of() -> Calendar:
    record = record_of()
    return season_calendar(record, framed([one for one in items(TODAY) if falls_in(record, one)]))


def picture(
    jobs: Sequence[DueItem] | None = None, stands_since: dict[int, float] | None = None
) -> CalendarPicture:
    record = record_of()
    shown = [one for one in items(TODAY) if falls_in(record, one)] if jobs is None else list(jobs)
    found = calendar_picture(
        record, framed(shown), system="metric", jobs=len(shown), stands_since=stands_since
    )
    assert found is not None
    return found


def group(svg: str, name: str) -> str:
    return svg.split(f'class="{name}"')[1].split("</g>")[0] if f'class="{name}"' in svg else ""


def bars(calendar: Calendar) -> list[tuple[str, str, str, bool, float]]:
    record = record_of()
    return [
        (one.crop, str(record.day_of(one.start)), str(record.day_of(one.end - 1)), one.pressed, one.seed_kg)
        for year in calendar.presses
        for one in year.campaigns
    ]


def test_runs_of_one_crop_in_a_row_are_a_campaign_and_a_stop_of_two_weeks_ends_it(shop: Shop) -> None:
    shop.runs("2026-09-01", 5, kg=500)
    shop.runs("2026-09-06", 3, kg=400, crop="sunflower")
    shop.runs("2026-09-09", 2, kg=500)
    shop.runs("2026-10-01", 2, kg=500)
    assert bars(calendar_of()) == [
        ("rapeseed", "2026-09-01", "2026-09-05", True, 2500.0),
        ("sunflower", "2026-09-06", "2026-09-08", True, 1200.0),
        ("rapeseed", "2026-09-09", "2026-09-10", True, 1000.0),
        ("rapeseed", "2026-10-01", "2026-10-02", True, 1000.0),
    ]


def test_a_plan_that_has_begun_is_planned_from_tomorrow_on_with_the_rest_of_its_seed(shop: Shop) -> None:
    shop.plan("2026-11-14", "2026-11-23", 10_000)
    shop.plan("2026-12-01", "2026-12-10", 4_000, crop="linseed")
    shop.plan("2026-10-01", "2026-10-31", 9_000)
    assert bars(calendar_of()) == [
        ("rapeseed", "2026-11-19", "2026-11-23", False, 5000.0),
        ("linseed", "2026-12-01", "2026-12-10", False, 4000.0),
    ]


def test_runs_of_earlier_seasons_and_purges_are_left_out(shop: Shop) -> None:
    shop.runs("2026-05-01", 5)
    shop.runs("2026-11-01", 1)
    purge = shop.run("2026-11-02 06:00", 1, 20, crop="linseed")
    purge.purge = True
    purge.save()
    assert [bar[:2] for bar in bars(calendar_of())] == [("rapeseed", "2026-11-01")]


def test_it_ends_with_the_plan_or_the_season_and_not_within_three_months(shop: Shop) -> None:
    shop.runs("2026-09-05", 1)
    found = calendar_of()
    record = record_of()
    assert (record.day_of(found.left), record.day_of(found.right - 1)) == (
        day("2026-09-01"),
        day("2027-02-18"),
    )
    shop.plan("2027-04-01", "2027-05-14", 9_000)
    assert record.day_of(calendar_of().right - 1) == day("2027-05-14")
    shop.plan("2027-09-01", "2027-12-14", 9_000)
    assert record.day_of(calendar_of().right - 1) == day("2027-06-30")


def test_the_mill_stands_where_no_press_has_a_plan_for_a_week(shop: Shop) -> None:
    shop.plan("2026-11-14", "2026-12-20", 10_000)
    shop.plan("2026-11-14", "2026-12-10", 10_000, press="P2")
    shop.plan("2026-12-24", "2026-12-26", 1_000, press="P2")
    shop.plan("2027-01-07", "2027-03-10", 10_000)
    record = record_of()
    (idle,) = calendar_of().idle
    assert (record.day_of(idle[0]), record.day_of(idle[1])) == (day("2026-12-27"), day("2027-01-07"))
    shown = picture()
    assert ">mill stands</text>" in shown.wide
    assert ">mill stands</text>" in shown.narrow


def test_pressed_is_outlined_firm_and_planned_broken_and_crops_differ_by_texture(shop: Shop) -> None:
    shop.runs("2026-09-01", 20, kg=900)
    shop.plan("2026-12-01", "2027-02-10", 4_000, crop="linseed")
    drawn = re.findall(r"<path ([^>]*)/>", group(picture().wide, "bars"))
    outlines = [path for path in drawn if 'fill="wheat"' in path or "L0,22Z" in path]
    assert [('stroke-dasharray="5,4"' in path, 'fill="wheat"' in path) for path in outlines] == [
        (False, True),
        (True, False),
    ]
    assert len(drawn) == 3  # and the texture of the second crop


def test_the_sentence_and_the_table_have_the_sums_of_the_bars(shop: Shop) -> None:
    shop.runs("2026-09-01", 20, kg=500)
    shop.plan("2026-12-01", "2027-02-10", 4_000, crop="linseed")
    shown = picture()
    assert shown.sentence == ("10.00 t pressed since 1 Sep 2026, 4.00 t planned until 10 Feb 2027.")
    assert shown.rows == (
        ("P1", "rapeseed", "1 Sep 2026 to 20 Sep 2026", "10.00 t", True),
        ("P1", "linseed", "1 Dec 2026 to 10 Feb 2027", "4.00 t", False),
    )


def test_a_press_that_pressed_nothing_for_two_weeks_stood_in_picture_and_table(shop: Shop) -> None:
    shop.runs("2026-07-01", 20, kg=500)
    shop.runs("2026-10-20", 29, kg=500)
    shop.serve("2026-10-01 06:00", "lubricate")
    shop.serve("2026-10-25 06:00", "polish", part=shop.part("S-04", shop.type("S60", "screw")))
    shown = picture(jobs=[])
    assert ">stood</text>" in shown.wide
    assert ">stood</text>" in shown.narrow
    assert group(shown.wide, "idle").count("<path") == 1
    assert shown.meanwhile == (
        ("P1", "21 Jul 2026 to 19 Oct 2026", "stood: nothing pressed"),
        ("P1", "25 Oct 2026", "polish: screw S-04"),
    )


def test_a_press_that_pressed_all_along_did_not_stand(shop: Shop) -> None:
    shop.runs("2026-09-01", 78, kg=500)
    shown = picture(jobs=[])
    assert ">stood</text>" not in shown.wide
    assert shown.meanwhile == ()


@pytest.fixture
def due(shop: Shop) -> list[DueItem]:
    """Two presses, each with a job: one overdue, one coming within the plan."""
    shop.press("P1", name="North")
    shop.press("P2", name="South")
    shop.runs("2026-09-01", 20)
    shop.runs("2026-09-01", 20, press="P2")
    shop.plan("2026-12-01", "2027-02-10", 4_000)
    shop.rule("grease", "lubricate", every_days=60, press=shop.press("P1"), lead_days=5)
    shop.rule("gearbox", "inspect", every_days=120, press=shop.press("P2"), lead_days=5)
    shop.serve("2026-09-01 06:00", "lubricate")
    shop.serve("2026-09-01 06:00", "inspect", press="P2")
    found = list(items(TODAY))
    assert {one.state for one in found} == {"overdue", "later"}
    return found


@pytest.mark.parametrize("which", ["wide", "narrow"])
def test_a_press_with_jobs_has_its_lock_and_the_number_of_points(due: list[DueItem], which: str) -> None:
    svg = getattr(picture(), which)
    assert group(svg, "locks").count("<path") == 2
    assert re.findall(r">(\d+)</text>", group(svg, "locked")) == ["1", "1"]
    assert "lubricate" in svg
    assert ">North</text>" in svg


def test_without_jobs_there_is_no_lock_and_no_caution(due: list[DueItem]) -> None:
    shown = picture(jobs=[])
    assert (shown.frames, shown.word, shown.dangers) == ((), "", ())
    assert not group(shown.wide, "locks")
    assert "lubricate" not in shown.wide


def test_the_band_has_the_strongest_word_and_the_dangers_of_all_jobs(due: list[DueItem]) -> None:
    shown = picture()
    assert shown.word == "WARNING"
    for frame in shown.frames:
        assert set(frame.caution.in_short) <= set(shown.dangers)
    assert shown.jobs == 2
    assert shown.sentence.endswith(" 2 jobs fall due until 18 Feb 2027.")


def test_a_job_that_no_caution_covers_cannot_be_drawn(due: list[DueItem]) -> None:
    record = record_of()
    (frame, *_) = framed(due)
    stolen = replace(frame)
    object.__setattr__(stolen, "jobs", ("not a job",))
    with pytest.raises(JobOutsideFrame):
        calendar_picture(record, [stolen], system="metric", jobs=1)


def test_a_press_that_stands_locked_says_so(shop: Shop) -> None:
    shop.runs("2026-11-01", 10)
    since = record_of().start_of(day("2026-11-14"))
    shown = picture(stands_since={shop.press().pk: since})
    assert ">stands</text>" in shown.wide
    assert ">stands</text>" not in picture().wide


def test_with_nothing_pressed_or_planned_it_says_what_gives_bars(shop: Shop) -> None:
    shop.press()
    shown = picture()
    assert shown.sentence == "Nothing yet: runs and a plan give bars."
    assert not group(shown.wide, "bars")
    assert ">today</text>" in shown.wide


def test_a_mill_without_presses_has_no_calendar(shop: Shop) -> None:
    assert calendar_picture(record_of(), [], system="metric", jobs=0) is None


def widths(svg: str) -> list[tuple[float, float, str]]:
    """The place of each word, and its width by the widest of the usual fonts."""
    words = re.findall(r"<text[^>]*translate\(([-\d.]+),[-\d.]+\)[^>]*>([^<]+)</text>", svg)
    return [(float(x), len(word) * CHARACTER, word) for x, word in words]


@pytest.mark.parametrize("language", ["en", "de", "fr"])
@pytest.mark.parametrize("shape", [WIDE, NARROW])
def test_words_begin_and_end_on_the_picture_in_each_language(
    due: list[DueItem], language: str, shape: Shape
) -> None:
    with translation.override(language):
        shown = picture()
    svg = shown.wide if shape is WIDE else shown.narrow
    for name, low, high in (("words", 0.5, 0.5), ("from", 0.0, 1.0), ("to", 1.0, 0.0), ("strong", 0.5, 0.5)):
        for x, width, word in widths(group(svg, name)):
            assert x - low * width >= -shape.left - 1, word
            assert x + high * width <= shape.width + RIGHT + 1, word
