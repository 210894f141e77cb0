"""How it goes, in small: the throughput of every press and the season, on a page of its own."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.forecast_shop import ZONE, Shop, day
from tests.mills.look_mill import LookMill
from tests.web.html import flat
from wearlog.history.record import load
from wearlog.people.models import Mill, User
from wearlog.web.drawing.charts.at_a_glance import MOST_PRESSES, PressPace, paces, press_pace


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop()


def pace_of(shop: Shop) -> PressPace:
    return press_pace(load(day("2026-11-18")), shop.press().pk, "North")


def test_the_last_crop_is_held_against_its_first_two_weeks(shop: Shop) -> None:
    shop.runs("2026-09-01", 3, hours=10, kg=100, crop="linseed")
    for start, kg in (("2026-09-05", 180), ("2026-09-12", 160), ("2026-09-25", 150), ("2026-10-20", 140)):
        shop.run(f"{start} 06:00", 10, kg)
    found = pace_of(shop)
    # 340 kg in 20 h; the run of 25 September began later than two weeks
    assert (found.crop, found.first_kg_per_h, found.last_kg_per_h) == ("rapeseed", 17.0, 14.0)
    assert [point.kg_per_h for point in found.points] == [18.0, 16.0, 15.0, 14.0]


def test_a_press_without_runs_this_season_says_so(shop: Shop) -> None:
    shop.runs("2026-05-01", 3)
    assert pace_of(shop).points == ()
    found = paces(load(day("2026-11-18")), system="metric")
    assert found is not None
    assert ">nothing yet this season</text>" in found.svg
    assert [(row.crop, row.last) for row in found.rows] == [("", "–")]


def test_one_run_is_a_point_without_a_line(shop: Shop) -> None:
    shop.run("2026-09-05 06:00", 10, 160)
    found = paces(load(day("2026-11-18")), system="metric")
    assert found is not None
    assert found.svg.count("<circle") == 1
    assert [(row.first, row.last) for row in found.rows] == [("16.0 kg/h", "16.0 kg/h")]


def test_a_long_stop_is_a_gap(shop: Shop) -> None:
    shop.runs("2026-09-01", 3)
    shop.runs("2026-10-10", 3)
    found = paces(load(day("2026-11-18")), system="metric")
    assert found is not None
    assert found.svg.split('class="firm"')[1].split("</g>")[0].count("<path") == 2


def test_the_words_of_the_picture_are_those_of_the_table(shop: Shop) -> None:
    shop.run("2026-09-05 06:00", 10, 160)
    shop.run("2026-10-05 06:00", 10, 150, press="P2")
    found = paces(load(day("2026-11-18")), system="us")
    assert found is not None
    for row in found.rows:
        assert f">{row.last}</text>" in found.svg
        assert f">at first {row.first.partition(' ')[0]}</text>" in found.svg


def test_eight_presses_are_drawn_and_the_others_counted(shop: Shop) -> None:
    for number in range(MOST_PRESSES + 2):
        shop.press(f"P{number}")
    found = paces(load(day("2026-11-18")), system="metric")
    assert found is not None
    assert (len(found.rows), found.more) == (MOST_PRESSES, 2)


@pytest.fixture
def signed_in(client: Client, owner: User, mill: Mill) -> Client:
    LookMill(timezone.now())
    client.force_login(owner)
    return client


def test_the_page_has_both_pictures_and_no_job(signed_in: Client) -> None:
    page = flat(signed_in.get("/how-it-goes/").content.decode())
    labels = re.findall(r'role="img" aria-label="([^"]*)"', page)
    assert labels[0].startswith("Throughput of every press this season. North press 50.0 kg/h rapeseed")
    assert labels[1].startswith("Calendar of the season. 30.00 t pressed since ")
    assert 'class="locks"' not in page
    assert 'class="job ' not in page


def test_the_day_page_leads_there_and_does_not_carry_the_pictures(signed_in: Client) -> None:
    page = flat(signed_in.get("/").content.decode())
    assert 'data-beside="/how-it-goes/"' in page
    assert "<svg viewBox" in page  # the marks of jobs
    assert 'class="chart"' not in page
    assert page.index('class="press-frame"') < page.index("data-beside")


def log_with_slips(shop: Shop, slips: tuple[int, ...]) -> None:
    """Twenty-four runs until yesterday; those in `slips` have ten times the seed."""
    for number in range(24):
        on = timezone.now().astimezone(ZONE).date() - timedelta(days=24 - number)
        shop.run(f"{on} 06:00", 10, (150, 154, 147, 151)[number % 4] * (10 if number in slips else 1))


@pytest.mark.parametrize(
    ("slips", "words"),
    [((7,), "1 entry of the log to look at again"), ((7, 15), "2 entries of the log to look at again")],
)
def test_it_counts_the_doubts_quietly_and_leads_to_them(
    slips: tuple[int, ...], words: str, client: Client, owner: User
) -> None:
    Mill.objects.all().delete()
    log_with_slips(Shop(), slips)
    client.force_login(owner)
    page = flat(client.get("/how-it-goes/").content.decode())
    assert f'<a class="textlink" href="/records/doubts/">{words}</a>' in page


def test_where_nothing_is_doubted_nothing_is_said_of_doubts(client: Client, owner: User) -> None:
    Mill.objects.all().delete()
    log_with_slips(Shop(), ())
    client.force_login(owner)
    page = flat(client.get("/how-it-goes/").content.decode()).split("<main", 1)[1]
    assert "to look at again" not in page


def test_the_day_page_leads_to_the_doubts_in_one_touch(signed_in: Client) -> None:
    page = flat(signed_in.get("/").content.decode()).split("<main", 1)[1]
    assert 'href="/records/doubts/"' in page
