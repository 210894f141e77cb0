"""The plan for the next year, as the last one went."""

from __future__ import annotations

import re
from datetime import date, timedelta
from decimal import Decimal
from html import unescape

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.forecast_shop import Shop
from wearlog.compare.last_year import as_last_year, later
from wearlog.history.record import load
from wearlog.people.models import AuditEntry, Role, User
from wearlog.runs.models import Crop, PlanEntry, Run

ADDRESS = "/plan/as-last-year/"


def ago(days: int) -> date:
    return timezone.localdate() - timedelta(days=days)


@pytest.fixture
def shop(db: None) -> Shop:
    """Two campaigns of rapeseed on P1 with a month between, and one of flax on P2, in the last year; and one
    of the year before."""
    made = Shop()
    made.press("P2")
    made.runs(f"{ago(500)}", 20, kg=900)
    made.runs(f"{ago(300)}", 10, kg=500)
    made.runs(f"{ago(260)}", 5, kg=400)
    made.runs(f"{ago(200)}", 4, kg=250, crop="flax", press="P2")
    return made


@pytest.fixture
def owner(client: Client, shop: Shop) -> Client:
    client.force_login(User.objects.create_user("boss", role=Role.OWNER))
    return client


def words(page: Client) -> str:
    html = page.get(ADDRESS).content.decode()
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html[html.index("<main") :])))


def keys(page: Client) -> list[str]:
    return re.findall(r'name="campaigns"\s+value="([^"]+)"', page.get(ADDRESS).content.decode())


def planned() -> set[tuple[str, str, date, date, Decimal]]:
    rows = PlanEntry.objects.values_list("press__code", "crop__code", "start_on", "end_on", "seed_kg")
    return set(rows)


def test_each_campaign_of_the_last_year_comes_again_a_year_later(owner: Client) -> None:
    answer = owner.post(ADDRESS, {"campaigns": keys(owner)}, follow=True)
    assert "3 campaigns planned." in answer.content.decode()
    assert planned() == {
        ("P1", "rapeseed", later(ago(300)), later(ago(291)), Decimal(5000)),
        ("P1", "rapeseed", later(ago(260)), later(ago(256)), Decimal(2000)),
        ("P2", "flax", later(ago(200)), later(ago(197)), Decimal(1000)),
    }
    assert AuditEntry.objects.filter(action="add", record="planentry").count() == 3


def test_looking_at_it_plans_nothing(owner: Client) -> None:
    assert "rapeseed, 5.00 t" in words(owner)
    assert not PlanEntry.objects.exists()


def test_nothing_is_planned_twice(owner: Client) -> None:
    owner.post(ADDRESS, {"campaigns": keys(owner)})
    assert "Nothing was pressed in the last twelve months that is not planned already." in words(owner)
    assert keys(owner) == []


def test_a_campaign_that_is_planned_in_part_is_left_out(owner: Client, shop: Shop) -> None:
    PlanEntry.objects.create(
        press=shop.press("P1"),
        crop=Crop.objects.get(code="rapeseed"),
        start_on=later(ago(293)),
        end_on=later(ago(280)),
        seed_kg=100,
    )
    assert len(keys(owner)) == 2
    assert "rapeseed, 5.00 t" not in words(owner)


def test_only_what_is_ticked_is_planned(owner: Client) -> None:
    owner.post(ADDRESS, {"campaigns": keys(owner)[2:]})
    assert {row[:2] for row in planned()} == {("P2", "flax")}


def test_nothing_ticked_is_said_and_nothing_planned(owner: Client) -> None:
    answer = owner.post(ADDRESS, {})
    assert "Tick at least one campaign." in answer.content.decode()
    assert not PlanEntry.objects.exists()


def test_a_campaign_that_somebody_planned_meanwhile_is_refused_and_the_rest_stays_unplanned(
    owner: Client,
) -> None:
    chosen = keys(owner)
    owner.post(ADDRESS, {"campaigns": chosen[:1]})
    answer = owner.post(ADDRESS, {"campaigns": chosen})
    assert "The plan has changed meanwhile: look at it again." in answer.content.decode()
    assert PlanEntry.objects.count() == 1


def test_purge_runs_are_no_campaign(owner: Client) -> None:
    Run.objects.filter(press__code="P2").update(purge=True)
    assert "flax" not in words(owner)


def test_a_campaign_goes_on_over_a_fortnights_pause_and_not_over_a_longer_one(shop: Shop) -> None:
    shop.runs(f"{ago(100)}", 2, kg=100, press="P2")
    shop.runs(f"{ago(85)}", 2, kg=100, press="P2")  # 14 days after the last run
    shop.runs(f"{ago(69)}", 2, kg=100, press="P2")  # 15 days
    own = [one.seed_kg for one in as_last_year(load(timezone.localdate())) if one.seed_kg < 1000]
    assert own == [400.0, 200.0]


def test_the_29th_of_february_comes_again_on_the_28th() -> None:
    assert later(date(2024, 2, 29)) == date(2025, 2, 28)
    assert later(date(2024, 3, 1)) == date(2025, 3, 1)


def test_the_plan_is_the_owners(client: Client, shop: Shop) -> None:
    client.force_login(User.objects.create_user("reader", role=Role.MAINTAINER))
    assert client.get(ADDRESS).status_code == 403


def test_the_page_of_the_plan_leads_there(owner: Client) -> None:
    assert ADDRESS in owner.get("/plan/").content.decode()
