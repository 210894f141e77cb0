"""What to order, ordered, arrived, crossed out: by the pages."""

from __future__ import annotations

import re
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.forecast_shop import Shop as ForecastShop
from tests.mills.log_shop import Shop
from wearlog.equipment.models import Fitting, Part, PartOrder, PartType, Position
from wearlog.history import versions
from wearlog.logbook import actions
from wearlog.people.models import AuditEntry, Mill, User
from wearlog.people.refusals import Refused
from wearlog.service.models import Measurement


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


def test_it_says_first_what_is_to_be_ordered_today(page: Client) -> None:
    assert "To be ordered today: 2 × screw-60." in words(page)
    PartType.objects.update(min_spares=None)
    assert "To be ordered today" not in words(page)


def test_the_length_of_bar_is_shown_with_what_it_is_made_of(page: Client, shop: Shop) -> None:
    PartType.objects.filter(pk=shop.screw_type.pk).update(bar_mm=42, kerf_mm=3)
    assert "90.00 mm of bar: 2 × (42.00 mm + saw cut 3.00 mm)" in words(page)


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


def corrected(page: Client, order: PartOrder, **changes: object) -> int:
    """The status of a correction in which all else stays as the form shows it."""
    form = {
        "count": order.count,
        "unit_cost": "",
        "supplier": order.supplier,
        "ordered_on": order.ordered_on.isoformat(),
        "expected_on": "",
        "note": order.note,
        "reason": "typed wrong",
    }
    return page.post(f"/order/{order.pk}/correct/", form | changes).status_code


def test_an_order_is_corrected_with_a_reason_and_its_old_values_are_kept(page: Client, shop: Shop) -> None:
    order = ordered(page, shop)
    later = (timezone.localdate() + timedelta(days=9)).isoformat()
    changes = {
        "count": 3,
        "unit_cost": "612.50",
        "supplier": "Ironworks",
        "expected_on": later,
        "note": "by rail",
    }
    assert corrected(page, order, **changes) == 302
    order.refresh_from_db()
    assert (order.count, order.unit_cost, order.supplier, order.note) == (
        3,
        Decimal("612.5"),
        "Ironworks",
        "by rail",
    )
    assert order.expected_on is not None
    assert order.expected_on.isoformat() == later
    row = AuditEntry.objects.get(record="partorder", action="correct")
    assert (row.reason, (row.old or {})["count"], (row.new or {})["count"]) == ("typed wrong", 2, 3)
    text = words(page)
    assert "3 × screw-60" in text
    assert "Ironworks" in text
    assert "612.5" in text
    assert "typed wrong" in words(page, f"/order/{order.pk}/correct/")


def test_a_correction_that_another_one_overtook_is_refused(page: Client, shop: Shop) -> None:
    order = ordered(page, shop)
    html = page.get(f"/order/{order.pk}/correct/").content.decode()
    seen = re.search(r'name="seen" value="(\d+)"', html)
    assert seen is not None
    assert corrected(page, order, count=3) == 302
    order.refresh_from_db()
    assert corrected(page, order, count=4, seen=seen[1]) == 422
    order.refresh_from_db()
    assert order.count == 3


@pytest.mark.parametrize("wrong", [{"count": 0}, {"reason": ""}, {"expected_on": "2001-01-01"}, {}])
def test_a_correction_that_can_not_be_or_says_nothing_is_refused(
    page: Client, shop: Shop, wrong: dict[str, object]
) -> None:
    order = ordered(page, shop)
    assert corrected(page, order, **wrong) == 422
    order.refresh_from_db()
    assert (order.count, order.expected_on) == (2, None)


def test_an_order_can_not_have_been_made_after_it_arrived(page: Client, shop: Shop) -> None:
    order = ordered(page, shop)
    before = timezone.localdate() - timedelta(days=3)
    PartOrder.objects.update(ordered_on=before - timedelta(days=5), arrived_on=before)
    order.refresh_from_db()
    assert corrected(page, order, ordered_on=timezone.localdate().isoformat()) == 422
    assert corrected(page, order, ordered_on=before.isoformat()) == 302


def arrived(page: Client, shop: Shop) -> PartOrder:
    order = ordered(page, shop, 1)
    form = {"arrived_on": timezone.localdate().isoformat(), "first": "S-08", "count": "1"}
    assert page.post(f"/order/{order.pk}/arrived/", form).status_code == 302
    return order


def test_an_arrival_is_undone_while_its_parts_are_unused(page: Client, shop: Shop) -> None:
    order = arrived(page, shop)
    assert page.post(f"/order/{order.pk}/not-arrived/", {"reason": ""}).status_code == 422
    assert page.post(f"/order/{order.pk}/not-arrived/", {"reason": "another parcel"}).status_code == 302
    order.refresh_from_db()
    assert (order.arrived_on, order.parts.count(), Part.objects.filter(code="S-08").count()) == (None, 0, 0)
    rows = AuditEntry.objects.filter(reason="another parcel").order_by("pk")
    assert list(rows.values_list("action", "record")) == [("remove", "part"), ("correct", "partorder")]
    assert "1 × screw-60 ordered on" in words(page)
    again = {"arrived_on": timezone.localdate().isoformat(), "first": "S-08", "count": "1"}
    assert page.post(f"/order/{order.pk}/arrived/", again).status_code == 302


def test_an_arrival_stands_whose_part_has_been_gauged(page: Client, shop: Shop) -> None:
    order = arrived(page, shop)
    Measurement.objects.create(
        ref="g", part=order.parts.get(), value_mm=Decimal(60), measured_at=timezone.now()
    )
    answer = page.post(f"/order/{order.pk}/not-arrived/", {"reason": "another parcel"})
    assert answer.status_code == 422
    order.refresh_from_db()
    assert (order.arrived_on, order.parts.count()) == (timezone.localdate(), 1)


def test_what_has_not_arrived_can_not_be_undone(page: Client, shop: Shop) -> None:
    order = ordered(page, shop)
    assert page.get(f"/order/{order.pk}/not-arrived/").status_code == 302
    with pytest.raises(Refused):
        actions.undo_arrival(by=None, at=timezone.now(), order_id=order.pk, reason="x")


def test_what_pays_says_as_many_dies_and_the_same_day_as_the_list(client: Client, db: None) -> None:
    """Also where an owner has chosen how sure they want to be, and dies are on order."""
    today = timezone.localdate()
    shop = ForecastShop()
    shop.runs((today - timedelta(days=200)).isoformat(), 200, kg=1000)
    shop.plan((today + timedelta(days=1)).isoformat(), (today + timedelta(days=300)).isoformat(), 300_000)
    die = shop.type("D5", "die", size_mm=5.0, edges=2, expected_life_kg=20_000.0, lead_time_days=14.0)
    for number in range(3):
        shop.part(f"D5-{number}", die)
    Mill.objects.update(late_orders_pct=30, enough_dies_pct=70)
    PartOrder.objects.create(ref="o", part_type=die, count=2, ordered_on=today)
    versions.touch()
    client.force_login(User.objects.create_user("boss", role="owner"))
    line = client.get("/order/?download=csv").content.decode().splitlines()[1].split(",")
    on, many = date.fromisoformat(line[0]), line[4]
    pays = words(client, "/worth/pays/")
    assert f"Make {many} dies." in pays
    assert f"Order the bar by {on.day} {on:%b %Y}." in pays
