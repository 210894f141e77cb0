"""The page with the words of the cautions, and changing them."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import Shop
from wearlog.forecasts.memory.queries import cached_items, due_items
from wearlog.history import versions
from wearlog.lockout.models import CautionWording
from wearlog.logbook import actions
from wearlog.people.models import Mill, User
from wearlog.service.models import Rule


@pytest.fixture
def desk(client: Client, owner: User) -> Client:
    client.force_login(owner)
    return client


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


CHANGE = {"seen": "0", "added": "It flew across the yard", "reason": "what happened in May"}


def test_every_hazard_is_listed_with_its_word_and_its_sentence(desk: Client, mill: Mill) -> None:
    text = page(desk, "/cautions/")
    assert text.count('<strong class="word">WARNING</strong>') == 8
    assert text.count('<strong class="word">CAUTION</strong>') == 3
    assert "All words are as shipped." in text


def test_a_change_is_listed_with_who_and_why_and_shown_with_every_task_at_once(
    desk: Client, shop: Shop
) -> None:
    before = page(desk, f"/log/work/?press={shop.north.pk}&fitting={shop.d1_on.pk}&action=polish")
    assert "It flew across the yard" not in before
    answer = desk.post("/cautions/trapped-pressure/", CHANGE)
    assert answer.status_code == 302
    after = page(desk, f"/log/work/?press={shop.north.pk}&fitting={shop.d1_on.pk}&action=polish")
    assert "It flew across the yard." in after
    listed = page(desk, "/cautions/")
    assert "Olga" in listed
    assert "Why: what happened in May" in listed


@pytest.mark.django_db(transaction=True)
def test_a_remembered_forecast_shows_the_change_too(desk: Client, owner: User, shop: Shop) -> None:
    now = timezone.now()
    rule = Rule(code="grease", action="lubricate", press=shop.north, every_days=Decimal(30))
    actions.save_thing(by=owner, at=now, thing=rule)
    versions.touch()  # as whoever sets a press up does: of a press without a version nothing is kept
    (item,) = due_items(as_of=now.date())
    assert [kept.rule for kept in cached_items(as_of=now.date())[shop.north.pk]] == ["grease"]
    assert "across the yard" not in item.caution.text
    desk.post("/cautions/trapped-pressure/", CHANGE)
    (item,) = due_items(as_of=now.date())
    assert "across the yard" in item.caution.text


def test_what_was_typed_stays_when_the_reason_is_missing(desk: Client, mill: Mill) -> None:
    answer = desk.post("/cautions/trapped-pressure/", {**CHANGE, "reason": ""})
    assert answer.status_code == 422
    assert "It flew across the yard" in answer.content.decode()
    assert not CautionWording.objects.exists()


def test_danger_is_offered_for_one_press_only(desk: Client, shop: Shop) -> None:
    assert 'value="DANGER"' not in page(desk, "/cautions/hot-head/")
    assert 'value="WARNING"' in page(desk, "/cautions/hot-head/")
    assert 'value="DANGER"' in page(desk, f"/cautions/hot-head/?press={shop.north.pk}")
    answer = desk.post(
        "/cautions/hot-head/",
        {"press": shop.north.pk, "seen": "0", "word": "DANGER", "reason": "the oil boils over"},
    )
    assert answer.status_code == 302
    assert '<div class="caution caution-danger"' in page(desk, f"/presses/{shop.north.pk}/energy/")


def test_a_promise_is_refused_at_its_field(desk: Client, mill: Mill) -> None:
    answer = desk.post("/cautions/hot-head/", {**CHANGE, "added": "Then it is safe"})
    assert answer.status_code == 422
    assert "can&#x27;t promise anything" in answer.content.decode()


def test_the_words_are_read_by_all_and_changed_by_the_owner(client: Client, operator: User) -> None:
    client.force_login(operator)
    assert "Change the words" not in page(client, "/cautions/")
    assert client.get("/cautions/hot-head/").status_code == 403
    assert client.post("/cautions/hot-head/", CHANGE).status_code == 403


def test_an_unknown_hazard_or_press_is_not_found(desk: Client, mill: Mill) -> None:
    assert desk.get("/cautions/noise/").status_code == 404
    assert desk.get("/cautions/hot-head/?press=77").status_code == 404


def test_the_signal_word_stands_in_the_readers_language_wherever_it_is_shown(
    desk: Client, owner: User, shop: Shop
) -> None:
    User.objects.filter(pk=owner.pk).update(language="de")
    desk.post("/cautions/hot-head/", {**CHANGE, "word": "WARNING"})
    for address in (
        "/cautions/",
        "/cautions/hot-head/",
        f"/log/work/?press={shop.north.pk}&action=inspect",
        f"/presses/{shop.north.pk}/isolation/lock/",
    ):
        text = page(desk, address)
        assert "WARNUNG" in text, address
        assert ">WARNING<" not in text, address
        assert " WARNING:" not in text, address
