"""A mill of many presses lists them in parts, and each page works out only the presses that it shows."""

from __future__ import annotations

import re
from datetime import date

import pytest
from django.test import Client

from wearlog.equipment.models import Press
from wearlog.forecasts.memory import queries
from wearlog.people.models import User
from wearlog.web.machines.views import presses as view


@pytest.fixture
def page(client: Client, owner: User) -> Client:
    client.force_login(owner)
    Press.objects.bulk_create(Press(code=f"P{number:02d}") for number in range(60))
    return client


def listed(html: str) -> list[str]:
    return re.findall(r'<h2 class="h3"><a [^>]*>(.+?)</a>', html)


def test_every_press_stands_on_one_of_the_parts(page: Client) -> None:
    first = page.get("/presses/").content.decode()
    parts = re.findall(r'href="(\?presses=\d+)#list"', first)
    assert len(parts) == 3
    seen = [code for part in parts for code in listed(page.get(f"/presses/{part}").content.decode())]
    assert seen == [f"P{number:02d}" for number in range(60)]


def test_a_part_that_does_not_exist_is_the_nearest(page: Client) -> None:
    assert listed(page.get("/presses/?presses=77").content.decode())[-1] == "P59"
    assert listed(page.get("/presses/?presses=soon").content.decode())[0] == "P00"


def test_only_the_presses_shown_are_worked_out(page: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    def noting(*, as_of: date, press_ids: list[int]) -> queries.ItemsOfFleet:
        asked.extend(press_ids)
        return queries.ItemsOfFleet([], 0)

    monkeypatch.setattr(view, "items_of_fleet", noting)
    page.get("/presses/?presses=3")
    assert len(asked) == 10
