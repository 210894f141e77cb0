"""What to order, ordered, arrived, crossed out: by the pages."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import Shop
from wearlog.equipment.models import Fitting, Part, PartOrder, PartType, Position
from wearlog.people.models import AuditEntry, User


@pytest.fixture
def page(client: Client, owner: User, shop: Shop) -> Client:
    PartType.objects.filter(pk=shop.screw_type.pk).update(
        min_spares=3, lead_time_days=21, unit_cost=600, supplier="Turner & Son"
    )
    client.force_login(owner)
    return client


def words(client: Client, path: str = "/order/") -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def ordered(page: Client, shop: Shop, count: int = 2) -> PartOrder:
    today = timezone.localdate().isoformat()
    form = {"ref": "p-1", "part_type": shop.screw_type.pk, "count": count, "ordered_on": today}
    assert page.post("/order/new/", form).status_code == 302
    return PartOrder.objects.get()


def test_the_list_says_what_lacks_with_supplier_price_and_lead_time(page: Client) -> None:
    text = words(page)
    assert "2 × screw-60" in text
    assert "Turner &amp; Son" in text
    assert "21 days" in text
    assert "All together: 1" in text


def test_the_form_is_filled_in_by_the_list(page: Client, shop: Shop) -> None:
    html = page.get(f"/order/new/?part_type={shop.screw_type.pk}&count=2").content.decode()
    assert 'name="count" value="2"' in html
    assert 'value="Turner &amp; Son"' in html
    assert f'value="{shop.screw_type.pk}" selected' in html


def test_what_was_ordered_leaves_the_list_and_stands_as_on_order(page: Client, shop: Shop) -> None:
    ordered(page, shop)
    text = words(page)
    assert "Spares lack" not in text
    assert "2 × screw-60 ordered on" in text


def test_an_order_sent_twice_is_one_order(page: Client, shop: Shop) -> None:
    ordered(page, shop)
    ordered(page, shop)
    assert PartOrder.objects.count() == 1
    assert AuditEntry.objects.filter(record="partorder", action="log").count() == 1


def test_what_has_come_lies_on_the_shelf_with_its_marks(page: Client, shop: Shop) -> None:
    order = ordered(page, shop)
    form = {"arrived_on": timezone.localdate().isoformat(), "first": "S-08", "count": "2"}
    assert page.post(f"/order/{order.pk}/arrived/", form).status_code == 302
    assert sorted(order.parts.values_list("code", flat=True)) == ["S-08", "S-09"]
    order.refresh_from_db()
    assert order.arrived_on == timezone.localdate()
    assert "S-08" in words(page)
    again = page.post(f"/order/{order.pk}/arrived/", form | {"first": "S-10"})
    assert again.status_code == 422
    assert "arrived on" in again.content.decode()
    assert Part.objects.filter(code="S-10").count() == 0


def test_a_mark_that_is_taken_is_refused(page: Client, shop: Shop) -> None:
    order = ordered(page, shop)
    form = {"arrived_on": timezone.localdate().isoformat(), "first": "S-1", "count": "1"}
    answer = page.post(f"/order/{order.pk}/arrived/", form)
    assert answer.status_code == 422
    assert "Already there: S-1" in answer.content.decode()


def test_crossing_out_takes_unused_parts_along_and_keeps_the_reason(page: Client, shop: Shop) -> None:
    order = ordered(page, shop, 1)
    form = {"arrived_on": timezone.localdate().isoformat(), "first": "S-08", "count": "1"}
    page.post(f"/order/{order.pk}/arrived/", form)
    assert page.post(f"/order/{order.pk}/void/", {"reason": "sent back"}).status_code == 302
    order.refresh_from_db()
    assert (order.void_reason, order.parts.count()) == ("sent back", 0)
    assert list(
        AuditEntry.objects.filter(action__in=("remove", "void"))
        .order_by("pk")
        .values_list("action", "reason")
    ) == [("remove", "sent back"), ("void", "sent back")]
    assert "sent back" in words(page)


def test_an_order_stands_whose_part_has_been_fitted(page: Client, shop: Shop) -> None:
    order = ordered(page, shop, 1)
    form = {"arrived_on": timezone.localdate().isoformat(), "first": "S-08", "count": "1"}
    page.post(f"/order/{order.pk}/arrived/", form)
    place = Position.objects.create(press=shop.twin, name="screw left", kind="screw")
    Fitting.objects.create(part=order.parts.get(), position=place, fitted_at=timezone.now())
    answer = page.post(f"/order/{order.pk}/void/", {"reason": "sent back"})
    assert answer.status_code == 422
    assert "so the order stands" in answer.content.decode()
    order.refresh_from_db()
    assert (order.voided_at, order.parts.count()) == (None, 1)


@pytest.mark.parametrize("field", ["ordered_on", "expected_on"])
def test_days_that_can_not_be_are_refused(page: Client, shop: Shop, field: str) -> None:
    today = timezone.localdate()
    days = {"ordered_on": today.isoformat(), "expected_on": ""}
    days[field] = today.replace(year=today.year + (1 if field == "ordered_on" else -1), day=1).isoformat()
    form = {"ref": "p-1", "part_type": shop.screw_type.pk, "count": 1, **days}
    assert page.post("/order/new/", form).status_code == 422
    assert PartOrder.objects.count() == 0


def test_who_may_not_buy_reads_the_list_without_prices(client: Client, operator: User, page: Client) -> None:
    client.force_login(operator)
    text = words(client)
    assert "2 × screw-60" in text
    assert "600" not in text
    assert "600" not in client.get("/order/?download=csv").content.decode()
    assert client.get("/order/new/").status_code == 403


def test_the_file_has_a_line_for_each(page: Client) -> None:
    lines = page.get("/order/?download=csv").content.decode().splitlines()
    assert len(lines) == 2
    assert "screw-60,screw,,2,spares" in lines[1]


def test_the_day_shows_the_first_lines_and_leads_to_the_list(page: Client) -> None:
    assert "/order/" in page.get("/").content.decode()
    assert "2 × screw-60" in words(page, "/how-it-goes/")
