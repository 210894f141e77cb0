"""Job cards as PDF: read as text, and looked at as pictures."""

from __future__ import annotations

import re
import socket
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.card_mill import SOURCES, give_points
from tests.mills.look_mill import LookMill
from tests.web.printing.pdf_reader import Paper, ink, is_black_and_white
from wearlog.forecasts.memory.queries import due_items
from wearlog.people.models import Mill, User
from wearlog.service.models import Rule
from wearlog.web.printing.pdf import NoPdf, pdf_of, static_file
from wearlog.web.site.tags.due import card_key

SIZES = {"a4": (595, 842), "letter": (612, 792)}
"""Points: ISO 216 A4 is 210 x 297 mm, Letter is 8.5 x 11 in."""
MARGIN = 7 / 25.4 * 100
"""Pixels of the upper and lower margin at 100 dpi."""
Print = Callable[..., Paper]


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


@pytest.fixture
def print_out(pdf: object, client: Client, owner: User) -> Print:
    """`print_out(keys, paper="a4")`: the cards of the keys as a PDF."""
    client.force_login(owner)

    def printed(*keys: str, paper: str = "a4") -> Paper:
        answer = client.get("/due/card.pdf", {"item": keys, "paper": paper})
        assert answer.status_code == 200
        assert answer.headers["Content-Type"] == "application/pdf"
        return Paper(answer.content)

    return printed


def flip(shop: LookMill) -> str:
    return f"{shop.flip_rule.pk}.{shop.north.pk}.{shop.die_place.pk}.{shop.die.pk}.A"


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("points", [2, 10])
def test_one_task_is_one_sheet_within_its_margins_in_black_and_white(
    paper: str, points: int, shop: LookMill, print_out: Print
) -> None:
    give_points(shop.north, points)
    card = print_out(flip(shop), paper=paper)
    assert card.sizes == [SIZES[paper]]
    (picture,) = card.pictures(dpi=100)
    assert is_black_and_white(picture)
    left, upper, right, lower = ink(picture)
    assert upper >= MARGIN - 1
    assert lower <= picture.height - MARGIN + 1
    assert 11 / 25.4 * 100 - 2 <= left < right <= picture.width - 11 / 25.4 * 100 + 2
    assert lower > picture.height * 0.7, "the sheet is used, not a corner of it"


@pytest.mark.parametrize("points", [2, 10])
def test_the_sheet_has_the_caution_the_points_the_steps_and_the_deferral_in_words(
    points: int, shop: LookMill, print_out: Print
) -> None:
    give_points(shop.north, points)
    (words,) = print_out(flip(shop)).words
    for said in (
        "Flip die D5-01, edge A · North press",
        "WARNING",
        "The screw can start by itself",
        "Pressure can stay behind a plugged die with the power off",
        "1. know every energy source",
        "6. see that nobody is near, try the start",
        "1 isolated, 2 locked and tagged, 3 released or held, 4 verified",
        "preheat the head 15 to 20 minutes, or as the maker says",  # common practice, no source
        "For a test under power",
        "My locks on (day, time)",
        "The maker's manual, the site's own procedure and local codes come first.",
        "a licensed electrician's",
        "Opens this job",
    ):
        assert said in words, said
    for source, *_rest in SOURCES[:points]:
        assert source in words


def test_what_is_read_at_the_machine_is_large_enough_and_nothing_is_tiny(
    shop: LookMill, print_out: Print
) -> None:
    # 11 pt at arm's length and nothing below 9 pt: the house's own measure, no source.
    give_points(shop.north, 2)
    roomy = print_out(flip(shop))
    assert min(size for _letter, size in roomy.letters()) >= 8.99
    for words in (
        "The screw can start by itself", "know every energy source", "Main motor (electrical): isolate at",
        "limit 5.40 mm", "take all tools out", "North press",
    ):  # fmt: skip
        assert roomy.size_of(words) >= 10.99, words
    give_points(shop.north, 10)
    full = print_out(flip(shop))
    assert min(size for _letter, size in full.letters()) >= 8.99
    for words in ("The screw can start by itself", "limit 5.40 mm", "WARNING"):
        assert full.size_of(words) >= 10.99, words


def test_the_signal_word_stands_in_a_black_band(shop: LookMill, print_out: Print) -> None:
    (picture,) = print_out(flip(shop)).pictures(dpi=100)
    grey = picture.convert("L")
    black_rows = [
        y
        for y in range(grey.height)
        if sum(grey.getpixel((x, y)) < 60 for x in range(0, grey.width, 4)) * 4 > grey.width * 0.6
    ]
    # 16 pt of type in the band: more than 15 pixels at 100 dpi are nearly wholly black.
    assert len(black_rows) > 15


def test_eight_tasks_are_eight_sheets_and_each_has_its_own_caution(shop: LookMill, print_out: Print) -> None:
    for number in range(8):
        Rule.objects.create(code=f"look {number}", action="clean", press=shop.north, every_days=number + 1)
    keys = [card_key(item) for item in due_items(as_of=timezone.localdate()) if item.action == "clean"]
    assert len(keys) == 8
    for paper in ("a4", "letter"):
        cards = print_out(*keys, paper=paper)
        assert cards.sizes == [SIZES[paper]] * 8
        for words in cards.words:
            assert "WARNING" in words
            assert "can start by itself" in words
            assert "wall isolator Q1" in words
        assert len(cards.codes()) == 8


def test_more_points_than_a_sheet_holds_go_on_a_second_one_with_its_own_caution(
    shop: LookMill, print_out: Print
) -> None:
    give_points(shop.north, 24, place="in the far corner of the pressing room behind the seed bin")
    cards = print_out(flip(shop), paper="letter")
    assert len(cards.words) > 1
    for number, words in enumerate(cards.words, start=1):
        assert f"sheet {number} of {len(cards.words)}" in words
        assert "WARNING" in words
        assert "The screw can start by itself" in words
        assert "Flip die D5-01, edge A · North press" in words
    together = " ".join(cards.words)
    for number in range(1, 25):
        assert f"{number}. " in together
    assert "More isolation points stand on the next sheet" in cards.words[0]
    assert "Before you open or reach into anything" in cards.words[1]


@pytest.mark.parametrize(
    "name",
    ["معصرة الوادي", "בית הבד 12", "Große Schneckenpresse im hinteren Anbau neben dem Saatgutlager " * 2],
)
def test_long_names_and_names_from_right_to_left_stay_on_the_sheet(
    name: str, shop: LookMill, print_out: Print
) -> None:
    shop.north.name = name[:120].strip()
    shop.north.save()
    card = print_out(flip(shop))
    assert card.sizes == [SIZES["a4"]]
    # PDFium gives letters from right to left in the order of reading or of sight; both have each letter.
    assert set(shop.north.name) - {" "} <= set(card.words[0])
    assert "\ufffd" not in card.words[0]
    (picture,) = card.pictures(dpi=100)
    assert ink(picture)[2] <= picture.width - 11 / 25.4 * 100 + 2


def test_the_code_on_the_sheet_is_read_from_its_picture_and_leads_to_the_job(
    shop: LookMill, print_out: Print
) -> None:
    card = print_out(flip(shop))
    (found,) = card.codes()
    version = card.words[0].partition("caution ")[2].split()[0]
    assert re.fullmatch(
        rf"http://testserver/scan/job/{re.escape(flip(shop))}/\?c={version}&n=[0-9a-f]{{4}}", found
    )


def test_every_typeface_is_within_the_file(shop: LookMill, print_out: Print) -> None:
    shop.north.name = "معصرة"
    shop.north.save()
    fonts = print_out(flip(shop)).fonts()
    assert fonts
    assert all(fonts.values()), fonts


def test_no_network_is_asked_while_a_pdf_is_made(
    shop: LookMill, print_out: Print, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*args: object) -> None:
        raise AssertionError("somebody asks the network")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    html = (
        '<link rel="stylesheet" href="http://elsewhere.example/a.css">'
        '<img src="file:///etc/hostname" alt="kept out"><p>The sheet</p>'
    )
    assert "The sheet" in Paper(pdf_of(html, site="http://mill.example")).words[0]
    assert print_out(flip(shop)).words


@pytest.mark.parametrize(
    "url",
    [
        "file:///etc/hostname",
        "http://elsewhere.example/static/web/card.css",
        "http://mill.example/due/",
        "http://mill.example/static/../settings.py",
        "http://mill.example.elsewhere.example/static/web/card.css",
    ],
)
def test_only_the_sites_own_static_files_are_opened(url: str) -> None:
    assert b".card" in static_file("http://mill.example/static/web/card.css", site="http://mill.example")
    with pytest.raises((ValueError, OSError)):
        static_file(url, site="http://mill.example")


class TestWhereItCannotBeMade:
    def test_without_the_library_the_page_says_what_to_install(
        self, shop: LookMill, client: Client, owner: User, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setitem(sys.modules, "weasyprint", None)
        client.force_login(owner)
        answer = client.get("/due/card.pdf", {"item": flip(shop)})
        assert answer.status_code == 503
        page = answer.content.decode().replace("&#x27;", "'")
        assert "pip install 'wearlog[pdf]'" in page
        assert "print the page itself" in page

    def test_without_the_systems_part_the_refusal_names_debians_packages(
        self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        (tmp_path / "weasyprint.py").write_text("raise OSError(\"cannot load library 'libpango-1.0-0'\")\n")
        monkeypatch.syspath_prepend(tmp_path)
        for name in [name for name in sys.modules if name.partition(".")[0] == "weasyprint"]:
            monkeypatch.delitem(sys.modules, name)
        with pytest.raises(NoPdf) as refused:
            pdf_of("<p>", site="http://mill.example")
        assert "libpango-1.0-0" in refused.value.message
        assert (
            "apt-get install --no-install-recommends libpango-1.0-0 libpangoft2-1.0-0"
            in refused.value.message
        )


def test_tasks_that_have_all_been_done_make_no_empty_file(client: Client, owner: User) -> None:
    client.force_login(owner)
    assert client.get("/due/card.pdf", {"item": "999.1.1.1.-"}).status_code == 404
    assert client.get("/due/card.pdf").status_code == 404
