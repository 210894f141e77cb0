"""The page of the season plan: its calendar, with the caution of every press that has jobs in it."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from tests.web.html import flat
from tests.web.press_frames import frames_in, jobs_in
from wearlog.people.models import Mill, User
from wearlog.runs.models import PlanEntry


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    shop = LookMill(timezone.now())
    today = timezone.localdate()
    PlanEntry.objects.create(
        press=shop.north,
        crop=shop.rape,
        start_on=today + timedelta(days=5),
        end_on=today + timedelta(days=60),
        seed_kg=20_000,
    )
    return shop


@pytest.fixture
def page(client: Client, owner: User, shop: LookMill) -> str:
    client.force_login(owner)
    return flat(client.get("/plan/").content.decode())


def test_the_calendar_has_a_name_and_no_style_of_its_own(page: str) -> None:
    section = page[page.index('<section aria-labelledby="calendar">') :].split("</section>")[0]
    labels = re.findall(r'role="img" aria-label="([^"]*)"', section)
    assert len(labels) == 2
    assert labels[0] == labels[1]
    assert labels[0].startswith("Calendar of the season. 30.00 t pressed since ")
    assert "20.00 t planned until" in labels[0]
    assert not re.search(r"<[^>]* style=", section)
    assert "<script" not in section


def test_the_band_below_it_opens_to_the_whole_caution_and_each_job(page: str) -> None:
    band = page[page.index('<details class="caution-band">') :]
    assert "WARNING" in band.split("</summary>")[0]
    assert "For every job in the calendar: lock all points of its press first." in band.split("</summary>")[0]
    frames = frames_in(page)
    assert len(frames) >= 1
    assert "Isolation points: lock and tag each one" in frames[0]
    drawn = page.split('class="locks"')[1].split("</g>")[0].count("<path")
    assert drawn == len(frames)
    assert jobs_in(page)


def test_the_table_names_what_was_pressed_and_what_is_planned(page: str) -> None:
    table = page[page.index('id="calendar-caption"') :].split("</table>")[0]
    rows = [
        [re.sub(r"<[^>]*>", "", cell).strip() for cell in re.findall(r"<t[dh] .*?</t[dh]>", row)]
        for row in re.findall(r"<tr>(.*?)</tr>", table.split("<tbody>")[1])
    ]
    assert [(row[0], row[1], row[3], row[4]) for row in rows] == [
        ("North press", "rapeseed", "30.00 t", "pressed"),
        ("North press", "rapeseed", "20.00 t", "planned"),
    ]


def test_a_press_locked_for_work_stands_in_the_calendar(client: Client, owner: User, shop: LookMill) -> None:
    client.force_login(owner)
    assert ">stands</text>" not in client.get("/plan/").content.decode()
    shop.isolate(by=owner)
    assert ">stands</text>" in client.get("/plan/").content.decode()
