"""The table of gauges on the page of a part has the numbers of the picture above it."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from wearlog.people.models import Mill, User
from wearlog.service.models import Measurement


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


@pytest.fixture
def page(client: Client, owner: User) -> Callable[[int], str]:
    client.force_login(owner)
    return lambda pk: re.sub(r"\s+", " ", client.get(f"/parts/{pk}/").content.decode())


def rows(page: str) -> list[list[str]]:
    """The cells of the first table of gauges, without the time."""
    table = page.split('id="gauges-1"')[1].split("</table>")[0]
    found = re.findall(r"<tr>(.*?)</tr>", table.split("<tbody>")[1])
    return [
        [re.sub(r"<[^>]*>", "", cell).strip() for cell in re.findall(r"<td.*?</td>", row)] for row in found
    ]


def test_each_gauge_has_the_seed_before_it_and_what_the_line_says(
    shop: LookMill, page: Callable[[int], str]
) -> None:
    text = page(shop.die.pk)
    cells = rows(text)
    assert [(row[0], row[1]) for row in cells] == [
        # 500 kg a day: the runs of the days before, and what of the day's run had gone through within an hour
        ("5.39 mm", "29.55 t"),
        ("5.26 mm", "20.05 t"),
        ("5.13 mm", "10.05 t"),
    ]
    assert [float(row[2].removesuffix(" mm")) for row in cells] == pytest.approx([5.39, 5.26, 5.13], abs=0.02)
    drawn = text.split('class="points"')[1].split("</g>")[0].count("<circle")
    assert drawn == len(cells)


def test_the_picture_names_part_and_edge_and_has_no_style_of_its_own(
    shop: LookMill, page: Callable[[int], str]
) -> None:
    text = page(shop.die.pk)
    section = text[text.index('<section aria-labelledby="wear">') :].split("</section>")[0]
    assert re.findall(r'role="img" aria-label="(Wear of [^.]*)\.', section) == [
        "Wear of die D5-01, edge A against seed",
        "Wear of die D5-01, edge B against seed",
    ]
    assert "style" not in section
    assert "<script" not in section


def test_a_place_beside_the_worst_says_that_another_counts(
    shop: LookMill, page: Callable[[int], str]
) -> None:
    last = Measurement.objects.get(ref="g1")
    Measurement.objects.create(
        ref="beside",
        measured_at=last.measured_at,
        part=last.part,
        edge="A",
        value_mm=Decimal("5.3"),
        place="back",
    )
    assert [row[-1] for row in rows(page(shop.die.pk)) if row[0] == "5.30 mm"] == ["another place counts"]


def test_a_part_without_sizes_has_a_table_and_no_picture(shop: LookMill, page: Callable[[int], str]) -> None:
    shop.small.limit_mm = None
    shop.small.save()
    text = page(shop.die.pk)
    assert '<section aria-labelledby="wear">' not in text
    assert "Seed before" not in text
    assert len(rows(text)) == 3


def test_each_gauge_leads_to_its_entry_where_it_is_corrected_and_crossed_out(
    shop: LookMill, page: Callable[[int], str], client: Client
) -> None:
    table = page(shop.die.pk).split('id="gauges-1"')[1].split("</table>")[0]
    leads = re.findall(r'<th scope="row"><a href="([^"]*)"', table)
    assert len(leads) == len(rows(page(shop.die.pk)))
    entry = client.get(leads[0]).content.decode()
    assert "5.39 mm" in entry
    assert {"Correct", "Cross out"} <= set(
        re.findall(r'<a class="button" href="[^"]*">([^<]*)</a>', re.sub(r"\s+", " ", entry))
    )
