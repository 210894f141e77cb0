"""The throughput of a press on its page: picture, sentence and table."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from tests.mills.short_runs import log_short_run
from wearlog.history import versions
from wearlog.people.models import Mill, User
from wearlog.web.drawing.charts import render, shown


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


@pytest.fixture
def section(client: Client, owner: User) -> Callable[[int], str]:
    """The chart's part of a press's page, spaces made single."""
    client.force_login(owner)

    def read(press_id: int) -> str:
        page = re.sub(r"\s+", " ", client.get(f"/presses/{press_id}/").content.decode())
        return page[page.index('<section aria-labelledby="throughput">') :].split("</section>")[0]

    return read


def test_the_picture_has_a_name_and_no_style_of_its_own(
    shop: LookMill, section: Callable[[int], str]
) -> None:
    text = section(shop.north.pk)
    assert text.count("<svg") == 1
    assert re.search(r'<svg [^>]*role="img" aria-label="Throughput of North press over time\. Season', text)
    assert "style" not in text
    assert "<script" not in text


def test_the_table_has_the_numbers_of_the_picture(shop: LookMill, section: Callable[[int], str]) -> None:
    text = section(shop.north.pk)
    points = text.split('class="points"')[1].split("</g>")[0].count("<circle")
    table = text.split("<tbody>")[1].split("</tbody>")[0]
    rows = re.findall(r"<tr>(.*?)</tr>", table)
    assert 1 <= len(rows) == points
    # 500 kg in 10 h
    row = [re.sub(r"<[^>]*>", "", cell).strip() for cell in re.findall(r"<td.*?</td>", rows[0])]
    assert row == ["rapeseed", "500 kg", "10.0 h", "50.0 kg/h"]
    assert "rapeseed 50.0 kg/h" in text.split("<figure")[0]


def test_the_work_meanwhile_stands_below_the_table_with_its_part(
    shop: LookMill, section: Callable[[int], str]
) -> None:
    text = section(shop.north.pk)
    assert re.search(r"Measured · die D5-01, edge A</li>", text)


def test_a_reader_in_pounds_gets_picture_and_table_in_pounds(
    shop: LookMill, section: Callable[[int], str], owner: User
) -> None:
    assert ">60</text>" in section(shop.north.pk)
    User.objects.filter(pk=owner.pk).update(units="us")
    text = section(shop.north.pk)
    # 50 kg / 0.45359237 = 110.2 lb
    assert "110 lb/h" in text
    assert "lb seed per hour" in text
    assert ">120</text>" in text


def test_a_press_without_runs_has_an_axis_and_says_what_gives_a_point(
    shop: LookMill, section: Callable[[int], str]
) -> None:
    text = section(shop.twin.pk)
    assert "No run yet with weighed seed and hours" in text
    assert "<svg" in text
    assert "<table" not in text


@pytest.mark.django_db(transaction=True)
def test_it_is_worked_out_once_for_a_version_of_the_log_and_drawn_once_for_what_it_shows(
    shop: LookMill, section: Callable[[int], str], owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    worked_out, draw = shown.season_throughput, render._draw
    monkeypatch.setattr(
        shown, "season_throughput", lambda *args: asked.append("worked out") or worked_out(*args)
    )
    monkeypatch.setattr(render, "_draw", lambda spec: asked.append("drawn") or draw(spec))
    versions.touch()
    first = section(shop.north.pk)
    assert section(shop.north.pk) == first
    assert asked.count("worked out") == 1
    asked.clear()
    log_short_run(
        press_id=shop.twin.pk,
        crop_id=shop.rape.pk,
        begun=timezone.now() - timedelta(hours=3),
        at=timezone.now(),
        minutes=20,
    )
    assert section(shop.north.pk) == first
    assert asked == ["worked out"], "what happens on another press is no reason to draw anew"
