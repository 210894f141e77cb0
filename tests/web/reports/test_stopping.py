"""The page on when to stop a part: the answer, the curve in numbers, prices to try."""

from __future__ import annotations

import re
from datetime import date, timedelta
from html import unescape

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.forecast_shop import Shop, number
from wearlog.calc.policy.stopping import LITTLE
from wearlog.equipment.models import Part, PartType
from wearlog.people.models import Role, User
from wearlog.runs.models import Price, Run

DAYS = 60


def day(number_: int) -> date:
    return timezone.localdate() - timedelta(days=DAYS - number_)


@pytest.fixture
def shop(db: None) -> Shop:
    """A screw of 600 that has pressed a tonne a day for sixty days and lost a kilogram more oil with each."""
    made = Shop()
    made.fit(made.part("S1", made.type("SC60", "screw", unit_cost=600.0)), f"{day(0)} 00:00")
    made.fit(made.part("H1", made.type("band", "heater")), f"{day(0)} 00:00", position="heater")
    for index in range(DAYS):
        run = made.run(f"{day(index)} 06:00", 10, 1000)
        Run.objects.filter(pk=run.pk).update(oil_kg=number(380.0 - index))
    Price.objects.create(item="oil_kg", from_on=day(-100), price=number(3))
    return made


@pytest.fixture
def owner(client: Client, shop: Shop) -> Client:
    client.force_login(User.objects.create_user("boss", role=Role.OWNER))
    return client


def address(code: str = "S1") -> str:
    return f"/parts/{Part.objects.get(code=code).pk}/stop/"


def words(page: Client, where: str) -> str:
    answer = page.get(where)
    assert answer.status_code == 200
    html = answer.content.decode()
    assert "style=" not in html
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html[html.index("<main") :]))).strip()


def test_the_answer_comes_first_and_the_lowest_cost_after(owner: Client) -> None:
    text = words(owner, address())
    assert "Stop it: a tonne now loses more than a tonne has cost on average so far." in text
    # 600 and 3 a tonne and tonne: sqrt(2 * 600 / 3) = 20 t; 600 / 20 + 3 * 20 / 2 = 60 a tonne.
    assert "A tonne costs least if it is changed at about 20 t" in text
    assert re.search(r"20 t 60\.00 60\.00 60\.00", text), text
    # Today, after 60 t: 600 / 60 + 3 * 60 / 2 = 100.
    assert re.search(r"60 t \(today\) 100\.00", text), text


def test_that_it_is_to_be_stopped_stands_beside_its_caution(owner: Client) -> None:
    assert "can start by itself" in words(owner, address())


def test_a_reached_limit_goes_before_what_a_tonne_costs(owner: Client, shop: Shop) -> None:
    PartType.objects.filter(code="SC60").update(new_mm=60, limit_mm=59, expected_life_kg=60_000)
    part = Part.objects.get(code="S1")
    for after, value in ((20, 59.6), (40, 59.2), (59, 58.7)):
        shop.gauge(f"{day(after)} 00:00", part, value)
    dear = f"{address()}?oil_price=0.01&part_price=9000"  # by costs alone it would go on
    text = words(owner, dear)
    assert "Change it: by its gauges it has reached its limit, whatever a tonne costs." in text
    assert "Go on" not in text
    assert "can start by itself" in text
    assert "Change it, at its limit." in words(owner, "/worth/pays/")


def test_that_it_may_as_well_be_changed_now_stands_beside_the_caution_too(owner: Client) -> None:
    # About sixty tonnes are the lowest: sqrt(2 * 5400 / 3) = 60; and runs that differ leave it open.
    for index, run in enumerate(Run.objects.order_by("started_at")):
        Run.objects.filter(pk=run.pk).update(oil_kg=number(380.0 - index + (30 if index // 7 % 2 else -30)))
    text = words(owner, f"{address()}?oil_price=3&part_price=5400")
    assert "Now or later: a tonne costs about the least that it can with this part" in text
    assert "can start by itself" in text


def test_going_on_needs_no_caution(owner: Client) -> None:
    text = words(owner, f"{address()}?oil_price=0.01&part_price=9000")
    assert "Go on: a tonne now still loses less than a tonne has cost on average so far." in text
    assert "can start by itself" not in text


def test_it_says_that_costs_alone_are_weighed(owner: Client) -> None:
    text = words(owner, address())
    assert "damage, metal in the seed or oil, noise and heat are reasons to stop whatever it says" in text


def test_the_picture_says_the_same_to_those_who_can_not_see_it(owner: Client) -> None:
    html = owner.get(address()).content.decode()
    labels = re.findall(r'aria-label="([^"]*)"', html)
    assert any("changed at about 20 t" in label for label in labels), labels


def test_prices_can_be_tried_and_the_log_stays_as_it_is(owner: Client) -> None:
    # A quarter of the price of oil: sqrt(2 * 600 / 0.75) = 40 t.
    text = words(owner, f"{address()}?oil_price=0.75&part_price=600")
    assert "changed at about 40 t" in text
    assert "Oil, per kg: 0.75" in text
    # Four times the price of the part: sqrt(2 * 2400 / 3) = 40 t.
    assert "changed at about 40 t" in words(owner, f"{address()}?oil_price=3&part_price=2400")
    assert Price.objects.get().price == 3
    assert "changed at about 20 t" in words(owner, address())


def test_a_price_that_is_none_is_said_and_the_one_on_record_counts(owner: Client) -> None:
    text = words(owner, f"{address()}?oil_price=much&part_price=600")
    assert "Oil, per kg: Enter a number." in text
    assert "changed at about 20 t" in text


def test_a_missing_price_can_be_tried_too(owner: Client) -> None:
    Price.objects.all().delete()
    assert "Can't be said: oil has no price." in words(owner, address())
    assert "changed at about 20 t" in words(owner, f"{address()}?oil_price=3")


def test_the_bar_reaches_as_far_as_its_word_says(owner: Client) -> None:
    assert LITTLE == 0.05
    assert "within 5 %" in owner.get(address()).content.decode()


def test_other_parts_have_nothing_to_weigh(owner: Client) -> None:
    assert "it is not a screw, die or barrel" in words(owner, address("H1"))
    assert owner.get("/parts/987654/stop/").status_code == 404


def test_the_parts_page_leads_there(owner: Client) -> None:
    part = Part.objects.get(code="S1")
    assert address() in owner.get(f"/parts/{part.pk}/").content.decode()
    other = Part.objects.get(code="H1")
    assert address("H1") not in owner.get(f"/parts/{other.pk}/").content.decode()


@pytest.mark.parametrize("role", [Role.VIEWER, Role.OPERATOR, Role.MAINTAINER])
def test_money_is_the_owners(client: Client, shop: Shop, role: str) -> None:
    client.force_login(User.objects.create_user("reader", role=role))
    assert client.get(address()).status_code == 403
    part = Part.objects.get(code="S1")
    assert address() not in client.get(f"/parts/{part.pk}/").content.decode()
