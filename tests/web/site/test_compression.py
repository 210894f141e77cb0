"""What is sent compressed, what is not, and that the same words arrive."""

from __future__ import annotations

import gzip

import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from wearlog.people.models import Mill, User

PACKED = {"Accept-Encoding": "gzip, br"}


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


@pytest.fixture
def signed_in(shop: LookMill, owner: User) -> Client:
    client = Client()
    client.force_login(owner)
    return client


def test_a_page_arrives_compressed_with_the_same_words(signed_in: Client) -> None:
    plain = signed_in.get("/presses/")
    packed = signed_in.get("/presses/", headers=PACKED)
    assert "Content-Encoding" not in plain.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in packed.headers["Vary"]
    assert b"North press" in gzip.decompress(packed.content)
    assert len(packed.content) < len(plain.content) / 2


def test_a_style_sheet_arrives_compressed(client: Client) -> None:
    answer = client.get("/static/web/paper.css", headers=PACKED)
    assert answer.headers["Content-Encoding"] == "gzip"
    packed = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    found = finders.find("web/paper.css")
    assert found is not None
    with open(found, "rb") as sheet:
        assert gzip.decompress(packed) == sheet.read()


def test_a_browser_that_has_the_sheet_gets_no_second_one(client: Client) -> None:
    first = client.get("/static/web/paper.css", headers=PACKED)
    again = client.get(
        "/static/web/paper.css", headers=PACKED | {"If-Modified-Since": first.headers["Last-Modified"]}
    )
    assert again.status_code == 304


def test_the_length_of_a_page_tells_little_about_its_words(signed_in: Client) -> None:
    """Up to 100 random bytes come with each answer; 40 of one length have a chance of 1 in 10^78."""
    lengths = {len(signed_in.get("/presses/", headers=PACKED).content) for _ in range(40)}
    assert len(lengths) > 1


def test_a_page_that_shows_a_secret_is_not_compressed(signed_in: Client) -> None:
    answer = signed_in.post("/me/calendar/", {"press": "", "note": "my phone"}, headers=PACKED)
    assert b".ics</code>" in answer.content
    assert "Content-Encoding" not in answer.headers


@pytest.mark.parametrize(
    ("address", "kind"), [("/exchange/logbook.zip", "zip"), ("/static/web/icon-192.png", "png")]
)
def test_what_is_packed_already_is_left_alone(signed_in: Client, address: str, kind: str) -> None:
    answer = signed_in.get(address, headers=PACKED)
    assert answer.status_code == 200
    assert kind in answer.headers["Content-Type"]
    assert "Content-Encoding" not in answer.headers
