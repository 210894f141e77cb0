"""The table of gauges on the page of a part has the numbers of the picture above it."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from wearlog.equipment.models import Part, Position
from wearlog.people.models import Mill, User
from wearlog.runs.models import Run
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


def gauge(shop: LookMill, value: str, days_ago: float, of: Part | None = None) -> Measurement:
    at = timezone.now() - timedelta(days=days_ago)
    return Measurement.objects.create(
        ref=f"extra{days_ago}",
        part=of or shop.die,
        edge="A",
        value_mm=Decimal(value),
        measured_at=at,
        entered_at=at,
    )


def test_a_gauge_that_counts_little_leads_to_its_correction_with_the_point_moved(
    shop: LookMill, page: Callable[[int], str]
) -> None:
    slip = gauge(shop, "53", 10.5)
    text = page(shop.die.pk)
    (remark,) = [row[-1] for row in rows(text) if row[0] == "53.00 mm"]
    assert remark.split() == ["counts", "little", "decimal", "point?", "5.30", "mm"]
    link = re.search(rf'href="(/log/measurement/{slip.pk}/correct/[^"]*)"', text)
    assert link is not None
    assert link[1].startswith(f"/log/measurement/{slip.pk}/correct/?value_mm=5.3")


def test_gauges_that_stand_still_while_others_of_the_type_wear_are_a_suspect_gauge(
    shop: LookMill, page: Callable[[int], str]
) -> None:
    place = Position.objects.get(press=shop.twin, name="left die")
    shop.fit(shop.spare, "A", place, shop.now - timedelta(days=61))
    for day in range(60, 0, -1):
        start = shop.now - timedelta(days=day)
        Run.objects.create(
            ref=f"t{day}", press=shop.twin, crop=shop.rape, started_at=start, hours_h=10, seed_kg=1000,
            ends_at=start + timedelta(hours=10),
        )  # fmt: skip
    for day in (50, 35, 20, 5):
        gauge(shop, "5.01", day, of=shop.spare)
    assert "Check the gauge." not in page(shop.die.pk)
    text = page(shop.spare.pk)
    assert "Check the gauge." in text
    assert "The gauges show no wear over" in text
