"""The doubts desk: what it asks, and what an answer does."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.forecast_shop import ZONE, Shop
from tests.web.html import flat
from wearlog.people.models import Role, User
from wearlog.runs.models import Run, SettledDoubt

pytestmark = pytest.mark.django_db
SCATTER = (150, 154, 147, 151, 149, 153, 146, 152)


@pytest.fixture
def odd(client: Client) -> Run:
    """Twenty runs until yesterday, of which the eighth has ten times the seed."""
    shop = Shop()
    runs = []
    for number in range(20):
        day = timezone.now().astimezone(ZONE).date() - timedelta(days=20 - number)
        kg = SCATTER[number % 8] * (10 if number == 7 else 1)
        runs.append(shop.run(f"{day} 06:00", 10, kg))
    client.force_login(User.objects.create_user("m", name="M", role=Role.MAINTAINER))
    return runs[7]


def keys(page: str) -> list[str]:
    return re.findall(r'name="doubt" value="([^"]+)"', page)


def test_it_says_what_was_seen_and_proposes_what_fits(client: Client, odd: Run) -> None:
    page = flat(client.get("/records/doubts/").content.decode())
    assert len(keys(page)) == 1
    assert re.search(r"has 1\.52.t of rapeseed: 10\.\d times the pace of the runs around it", page)
    assert re.search(r"it would be 152.kg, which fits", page)
    assert f"/log/run/{odd.pk}/correct/" in page


def test_accepted_it_is_corrected_and_gone(client: Client, odd: Run) -> None:
    (key,) = keys(client.get("/records/doubts/").content.decode())
    answer = client.post("/records/doubts/", {"doubt": key, "answer": "accept"}, follow=True)
    assert "Corrected. The history of the record keeps what it said before." in answer.content.decode()
    odd.refresh_from_db()
    assert odd.seed_kg == 152
    assert keys(answer.content.decode()) == []


def test_declined_it_stays_as_it_is_and_comes_back_only_where_somebody_asks(client: Client, odd: Run) -> None:
    (key,) = keys(client.get("/records/doubts/").content.decode())
    answer = client.post("/records/doubts/", {"doubt": key, "answer": "decline"}, follow=True)
    assert keys(answer.content.decode()) == []
    odd.refresh_from_db()
    assert odd.seed_kg == 1520
    settled = SettledDoubt.objects.get()
    answer = client.post("/records/doubts/", {"again": str(settled.pk)}, follow=True)
    assert keys(answer.content.decode()) == [key]


def test_an_answer_that_comes_twice_does_nothing_the_second_time(client: Client, odd: Run) -> None:
    (key,) = keys(client.get("/records/doubts/").content.decode())
    for _turn in range(2):
        answer = client.post("/records/doubts/", {"doubt": key, "answer": "accept"}, follow=True)
    assert "answered already" in answer.content.decode()
    odd.refresh_from_db()
    assert odd.seed_kg == 152


@pytest.mark.parametrize("role", [Role.OPERATOR, Role.VIEWER])
def test_who_may_not_correct_sees_it_without_buttons_and_is_refused(
    role: Role, client: Client, odd: Run
) -> None:
    client.force_login(User.objects.create_user("x", name="X", role=role))
    page = client.get("/records/doubts/").content.decode()
    assert "which fits" in page
    assert keys(page) == []
    assert client.post("/records/doubts/", {"doubt": "pace", "answer": "accept"}).status_code == 403
    odd.refresh_from_db()
    assert odd.seed_kg == 1520


def test_nonsense_is_answered_with_a_sentence(client: Client, odd: Run) -> None:
    for data in (
        {},
        {"doubt": "x"},
        {"again": "x"},
        {"again": "9" * 30},
        {"doubt": "\x00", "answer": "accept"},
    ):
        assert client.post("/records/doubts/", data).status_code in (302, 400)
    assert Run.objects.get(pk=odd.pk).seed_kg == 1520
