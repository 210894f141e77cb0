"""What if a campaign were another: side by side, with nothing written."""

from __future__ import annotations

import re
from datetime import date, timedelta
from html import unescape
from urllib.parse import urlencode

import pytest
from django.apps import apps
from django.test import Client
from django.utils import timezone

from tests.mills.forecast_shop import Shop
from wearlog.people.models import AuditEntry, Role, User
from wearlog.runs.models import PlanEntry

pytestmark = pytest.mark.django_db


def ahead(days: int) -> date:
    return timezone.localdate() + timedelta(days=days)


@pytest.fixture
def shop() -> Shop:
    """Two presses with forty runs each until yesterday: 150 and 300 kg in ten hours; a bearing is greased
    each 500 hours, of which 400 are over."""
    made = Shop()
    for press, kg in (("P1", 150), ("P2", 300)):
        for number in range(40):
            made.run(f"{ahead(number - 40)} 06:00", 10, kg, press=press)
    made.rule("grease", "lubricate", every_h=500)
    return made


@pytest.fixture
def entry(shop: Shop) -> PlanEntry:
    return PlanEntry.objects.create(
        press=shop.press("P1"),
        crop=shop.crop("rapeseed"),
        start_on=ahead(1),
        end_on=ahead(30),
        seed_kg=3_000,
    )


@pytest.fixture
def owner(client: Client, shop: Shop) -> Client:
    client.force_login(User.objects.create_user("boss", role=Role.OWNER))
    return client


def question(entry: PlanEntry, **changes: object) -> str:
    asked = {
        "press": entry.press_id,
        "crop": entry.crop_id,
        "start_on": entry.start_on,
        "end_on": entry.end_on,
        "seed_kg": entry.seed_kg,
    }
    return f"/plan/{entry.pk}/what-if/?{urlencode(asked | changes)}"


def lines(page: str) -> dict[str, tuple[str, str]]:
    """By what it is: as planned, and if changed."""
    rows = re.findall(
        r'<tr><th scope="row">(.*?)</th><td data-label="As planned">(.*?)</td>\s*'
        r'<td data-label="If changed">(.*?)</td></tr>',
        page,
        re.S,
    )

    def plain(cell: str) -> str:
        return " ".join(unescape(re.sub("<[^>]+>", "", cell)).split())

    return {plain(what): (plain(now), plain(then)) for what, now, then in rows}


def read(client: Client, address: str) -> dict[str, tuple[str, str]]:
    answer = client.get(address)
    assert answer.status_code == 200
    return lines(answer.content.decode())


def test_unchanged_both_sides_say_the_same(owner: Client, entry: PlanEntry) -> None:
    found = read(owner, question(entry))
    assert len(found) >= 9
    assert all(now == then for now, then in found.values())


def test_more_seed_in_the_same_days_takes_longer_days_and_brings_the_work_forward(
    owner: Client, entry: PlanEntry
) -> None:
    found = read(owner, question(entry, seed_kg=6_000))
    assert found["Hours of pressing"] == ("200.0 h", "400.0 h")  # at 15 kg/h
    now, then = found["On its fullest day"]
    assert now.startswith("6.7 h a day")
    assert then.startswith("13.3 h a day")
    (work,) = [pair for what, pair in found.items() if "Lubricate" in what]
    assert work[0] != work[1]


def test_on_the_faster_press_it_takes_half_the_hours(owner: Client, shop: Shop, entry: PlanEntry) -> None:
    found = read(owner, question(entry, press=shop.press("P2").pk))
    assert found["Press"] == ("P1", "P2")
    assert found["Seed"][0] == found["Seed"][1]
    assert found["Hours of pressing"] == ("200.0 h", "100.0 h")


def test_a_day_that_is_too_short_is_said(owner: Client, entry: PlanEntry) -> None:
    found = read(owner, question(entry, end_on=ahead(5)))
    assert found["On its fullest day"][1].endswith("more than a day has")


def test_neither_the_plan_nor_the_log_nor_the_trail_is_touched(owner: Client, entry: PlanEntry) -> None:
    def state() -> dict[str, list[object]]:
        models = [
            each for each in apps.get_models() if each._meta.app_label in ("runs", "service", "equipment")
        ]
        return {str(each): list(each._default_manager.order_by("pk").values()) for each in models}

    before, trail = state(), AuditEntry.objects.count()
    read(owner, question(entry, seed_kg=9_000, end_on=ahead(9)))
    assert state() == before
    assert AuditEntry.objects.count() == trail
    assert read(owner, question(entry))["Seed"] == ("3.00 t", "3.00 t")


def test_the_jobs_stand_with_the_caution_of_their_press(owner: Client, entry: PlanEntry) -> None:
    page = owner.get(question(entry, seed_kg=6_000)).content.decode()
    assert "Lubricate" in page
    assert "WARNING" in page
    assert "can start by itself" in page
    assert "wall switch" in page


def test_the_changed_plan_can_be_taken_over_as_a_whole(owner: Client, entry: PlanEntry) -> None:
    page = owner.get(question(entry, seed_kg=6_000)).content.decode()
    form = re.search(rf'<form method="post" action="(/plan/{entry.pk}/)".*?</form>', page, re.S)
    assert form is not None
    typed = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form.group(0)))
    typed.pop("csrfmiddlewaretoken", None)
    assert owner.post(form.group(1), typed).status_code == 302
    entry.refresh_from_db()
    assert entry.seed_kg == 6_000


def test_who_only_looks_may_ask_but_not_plan(client: Client, entry: PlanEntry) -> None:
    client.force_login(User.objects.create_user("v", role=Role.VIEWER))
    page = client.get(question(entry, seed_kg=6_000)).content.decode()
    assert "If changed" in page
    assert "Plan it so" not in page


def test_the_plan_leads_to_it_and_says_what_each_campaign_asks(owner: Client, entry: PlanEntry) -> None:
    page = unescape(owner.get("/plan/").content.decode())
    assert f'href="/plan/{entry.pk}/what-if/"' in page
    assert re.search(r"6\.7.h a day at 15\.0.kg/h; it usually runs 10\.0.h", page)


@pytest.mark.parametrize(
    "changes", [{"press": 99_999}, {"seed_kg": "much"}, {"start_on": "yesterday"}, {"end_on": "2001-01-01"}]
)
def test_nonsense_is_said_beside_the_field_and_compares_nothing(
    changes: dict[str, object], owner: Client, entry: PlanEntry
) -> None:
    answer = owner.get(question(entry, **changes))
    assert answer.status_code == 200
    assert lines(answer.content.decode()) == {}


def test_a_campaign_that_is_over_or_was_taken_away_is_not_found(owner: Client, entry: PlanEntry) -> None:
    PlanEntry.objects.filter(pk=entry.pk).update(start_on=ahead(-30), end_on=ahead(-1))
    assert owner.get(f"/plan/{entry.pk}/what-if/").status_code == 404
    assert owner.get("/plan/999999/what-if/").status_code == 404
