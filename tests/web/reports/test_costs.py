"""The page of what a tonne costs."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from tests.dates import at
from wearlog.equipment.models import Part, PartType, Press
from wearlog.history import versions
from wearlog.people.models import Mill, User
from wearlog.runs.models import Crop, Price, Run
from wearlog.service.models import Service


@pytest.fixture
def owner_page(client: Client, owner: User, mill: Mill) -> Client:
    """Signed in as the owner of a mill whose two presses pressed flax today, one with its energy metered."""
    client.force_login(owner)
    crop = Crop.objects.create(code="flax")
    for item, value in (("oil_kg", "3"), ("energy_kwh", "1"), ("labour_h", "20")):
        Price.objects.create(item=item, from_on=date(2020, 1, 1), price=Decimal(value))
    today = timezone.localdate()
    for number, labour in ((1, 2), (2, 5)):
        press = Press.objects.create(code=f"P{number}", name=f"Press {number}")
        Run.objects.create(
            ref=f"r{number}",
            press=press,
            crop=crop,
            lot=f"L-{number}",
            started_at=at(f"{today} 00:00"),
            hours_h=Decimal("0.01"),
            seed_kg=1000,
            oil_kg=350,
            energy_kwh=50 if number == 1 else None,
        )
        Service.objects.create(
            ref=f"s{number}", press=press, done_at=at(f"{today} 00:00"), action="clean", labour_h=labour
        )
    versions.touch()
    return client


def text_of(client: Client, address: str = "/costs/") -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_the_first_sentence_names_the_dearest_and_the_cheapest_press(owner_page: Client) -> None:
    text = text_of(owner_page)
    assert "Press 2 costs most, 100.00 EUR/t; Press 1 least, 40.00 EUR/t: at flax, which all ran." in text


def test_energy_that_one_press_alone_records_is_shown_and_not_compared(owner_page: Client) -> None:
    text = text_of(owner_page)
    assert "Energy (Press 2: not on record)" in text
    assert 'Energy <span class="soft">(not compared)</span>' in text
    assert 'data-label="Press 1">50.00</td>' in text


def test_lots_stand_with_what_they_left_the_best_first(owner_page: Client) -> None:
    text = text_of(owner_page)
    lots = text[text.index('id="lot-table-caption"') :]
    assert lots.index("L-1") < lots.index("L-2")  # 1,050 of oil each, less 40 and 100 of work


def test_a_lost_part_is_named_on_no_presss_account(owner_page: Client) -> None:
    kind = PartType.objects.create(code="D5", kind="die", unit_cost=Decimal(60), expected_life_kg=6000)
    Part.objects.create(
        code="D5-09",
        part_type=kind,
        retired_on=timezone.localdate() - timedelta(days=1),
        retired_because="lost",
    )
    versions.touch()
    text = text_of(owner_page)
    assert "D5-09, retired" in text
    assert "60.00 EUR" in text


def test_the_picture_says_in_words_what_it_shows(owner_page: Client) -> None:
    assert "What a tonne costs: Press 1: 40.00 EUR/t (work 40.00" in text_of(owner_page)


def test_a_mill_without_any_price_is_told_what_it_takes(client: Client, owner: User) -> None:
    client.force_login(owner)
    assert "Nothing to say yet" in text_of(client)


def test_a_season_that_does_not_exist_shows_the_latest(owner_page: Client) -> None:
    assert "Press 2 costs most" in text_of(owner_page, "/costs/?season=1900/01")


def test_who_may_not_see_money_does_not_see_it(client: Client, mill: Mill) -> None:
    client.force_login(User.objects.create_user("viewer", name="Vera", role="viewer"))
    assert client.get("/costs/").status_code == 403
