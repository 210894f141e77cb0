"""Incidents, held lots, crop changes, notes, readings and gauges."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import Shop
from wearlog.equipment.models import Fitting
from wearlog.people.models import Mill, Role, User
from wearlog.runs.models import Reading, ReadingKind, ShiftNote
from wearlog.service.models import CropChange, Incident, LotHold, Measurement
from wearlog.web.site.forms import new_ref


@pytest.fixture
def maintainer(mill: Mill) -> User:
    return User.objects.create_user("maintainer", name="Mara", role=Role.MAINTAINER)


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.status_code
    return answer.content.decode()


def metal(client: Client, shop: Shop, **typed: str) -> None:
    known = {"ref": new_ref(), "press": str(shop.north.pk), "kind": "metal", "lot": "L-7"}
    assert client.post("/log/incident/", {**known, **typed}).status_code == 302


def test_metal_holds_the_lot_that_was_in_the_press(phone: Client, shop: Shop) -> None:
    shop.run(shop.north, shop.rape, timezone.now() - timedelta(hours=9), "8", "400")
    assert 'value="L-7"' in page(phone, f"/log/incident/?press={shop.north.pk}")
    metal(phone, shop, note="bolt at the magnet")
    hold = LotHold.objects.get()
    assert (hold.lot, hold.released_at, hold.incident.note) == ("L-7", None, "bolt at the magnet")
    assert "on hold" in page(phone, "/")


def test_an_incident_without_a_kind_asks_and_keeps_the_note(phone: Client, shop: Shop) -> None:
    answer = phone.post(
        "/log/incident/", {"ref": new_ref(), "press": str(shop.north.pk), "note": "it rattled"}
    )
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "Choose what happened." in text
    assert "it rattled" in text
    assert Incident.objects.count() == 0


def test_a_lot_is_released_by_name_and_with_a_reason(
    client: Client, shop: Shop, operator: User, maintainer: User
) -> None:
    client.force_login(operator)
    metal(client, shop)
    hold = LotHold.objects.get()
    client.force_login(maintainer)
    without = client.post(f"/lots/{hold.pk}/release/", {"released_by": "Mara", "reason": " "})
    assert without.status_code == 422
    client.post(f"/lots/{hold.pk}/release/", {"released_by": "Mara", "reason": "screened, bolt found whole"})
    hold.refresh_from_db()
    assert (hold.released_by, hold.reason) == ("Mara", "screened, bolt found whole")
    again = client.post(f"/lots/{hold.pk}/release/", {"released_by": "Otto", "reason": "me too"})
    assert again.status_code == 422
    hold.refresh_from_db()
    assert hold.released_by == "Mara"


def test_an_operator_may_not_release_a_lot(phone: Client, shop: Shop) -> None:
    metal(phone, shop)
    hold = LotHold.objects.get()
    answer = phone.post(f"/lots/{hold.pk}/release/", {"released_by": "Oskar", "reason": "looks fine"})
    assert answer.status_code == 403
    hold.refresh_from_db()
    assert hold.released_at is None


def test_a_crop_change_is_signed_and_suggests_the_die_for_the_crop(phone: Client, shop: Shop) -> None:
    shop.run(shop.north, shop.rape, timezone.now() - timedelta(hours=9), "8", "400")
    typed = {
        "ref": new_ref(),
        "press": str(shop.north.pk),
        "from_crop": str(shop.rape.pk),
        "to_crop": str(shop.sunflower.pk),
        "signed_by": "Oskar",
        "purge_kg": "12,5",
    }
    answer = phone.post("/log/crop-change/", typed, follow=True)
    change = CropChange.objects.get()
    assert (change.from_crop, change.to_crop) == (shop.rape, shop.sunflower)
    assert (change.signed_by, change.purge_kg) == ("Oskar", Decimal("12.5"))
    text = answer.content.decode()
    # A 5 mm die for canola and 10 mm for sunflower (common practice, no source).
    assert "D-1 A sits on die and is not a die for sunflower. On the shelf for it: 10.00 mm." in text
    assert f"fitting={shop.d1_on.pk}&amp;action=replace&amp;crop={shop.sunflower.pk}" in text
    spares = page(phone, f"/log/work/?fitting={shop.d1_on.pk}&action=replace&crop={shop.sunflower.pk}")
    assert spares.index("D-3 A") < spares.index("D-2 A")


def test_a_crop_change_needs_a_signature(phone: Client, shop: Shop) -> None:
    typed = {"ref": new_ref(), "press": str(shop.north.pk), "to_crop": str(shop.sunflower.pk)}
    answer = phone.post("/log/crop-change/", typed)
    assert "Write the name of the person who cleaned" in answer.content.decode()
    assert CropChange.objects.count() == 0


def test_a_note_stands_on_the_day_page_once(phone: Client, shop: Shop) -> None:
    typed = {"text": "Head was hot, let it run empty.", "press": "", "by_name": "Oskar"}
    phone.post("/log/note/", typed)
    phone.post("/log/note/", typed)
    assert ShiftNote.objects.count() == 1
    assert "Head was hot, let it run empty." in page(phone, "/")


def test_a_reading_of_a_new_meter_goes_on_from_its_value(phone: Client, shop: Shop) -> None:
    shop.reading(shop.north, "8000", timezone.now() - timedelta(days=1))
    assert "Last: 8000 on" in page(phone, f"/log/reading/?press={shop.north.pk}")
    phone.post("/log/reading/", {"press": shop.north.pk, "meter_h": "12,5", "new_meter": "on"})
    newest = Reading.objects.order_by("-read_at").first()
    assert newest is not None
    assert (newest.meter_h, newest.kind) == (Decimal("12.5"), ReadingKind.NEW_METER)


def test_the_button_of_a_reading_touched_twice_is_one_reading(phone: Client, shop: Shop) -> None:
    for _ in range(2):
        phone.post("/log/reading/", {"press": shop.north.pk, "meter_h": "12.5"})
    assert Reading.objects.count() == 1


def test_a_time_that_the_clocks_skipped_is_refused(phone: Client, shop: Shop) -> None:
    # In Vienna the clocks went from 02:00 to 03:00 on 29 March 2026 (tz database).
    answer = phone.post(
        "/log/reading/", {"press": shop.north.pk, "meter_h": "12.5", "read_at": "2026-03-29T02:30"}
    )
    assert "The clocks went forward then: 29 March 2026, 02:30 never was." in answer.content.decode()
    assert Reading.objects.count() == 0


def test_a_time_that_came_twice_is_the_first(phone: Client, shop: Shop) -> None:
    # On 25 October 2026 Vienna had 02:30 twice; the first is summer time, 00:30 UTC (RFC 5545, 3.3.5).
    phone.post("/log/reading/", {"press": shop.north.pk, "meter_h": "12.5", "read_at": "2026-10-25T02:30"})
    assert Reading.objects.get().read_at.isoformat() == "2026-10-25T00:30:00+00:00"


def test_a_gauge_on_the_bench_names_the_edge(phone: Client, shop: Shop) -> None:
    text = page(phone, f"/log/measurement/?part={shop.d2.pk}")
    assert "bore: new 5.00 mm, limit 5.40 mm." in text
    missing = phone.post("/log/measurement/", {"ref": new_ref(), "part": shop.d2.pk, "value_mm": "5,02"})
    assert "Choose the edge that you measured." in missing.content.decode()
    phone.post("/log/measurement/", {"ref": new_ref(), "part": shop.d2.pk, "edge": "B", "value_mm": "5,02"})
    gauge = Measurement.objects.get()
    assert (gauge.part, gauge.edge, gauge.value_mm) == (shop.d2, "B", Decimal("5.02"))


def test_a_gauge_sent_twice_is_one(phone: Client, shop: Shop) -> None:
    typed = {"ref": new_ref(), "part": shop.d2.pk, "edge": "B", "value_mm": "5.02"}
    assert [phone.post("/log/measurement/", typed).status_code for _ in range(2)] == [302, 302]
    assert Measurement.objects.count() == 1


def test_a_viewer_may_not_report_or_sign(client: Client, shop: Shop) -> None:
    client.force_login(User.objects.create_user("v", role=Role.VIEWER))
    for address in (
        "/log/incident/",
        "/log/crop-change/",
        "/log/note/",
        "/log/reading/",
        f"/log/measurement/?part={shop.d2.pk}",
        f"/log/fitting/?position={shop.right.pk}",
        f"/log/fitting/end/?fitting={shop.d1_on.pk}",
        f"/log/fitting/swap/?fitting={shop.d1_on.pk}",
    ):
        assert client.get(address).status_code == 403, address
        assert client.post(address, {"press": shop.north.pk}).status_code == 403, address
    assert Fitting.objects.count() == 3


def test_after_a_crop_change_the_run_page_has_the_new_crop_and_no_old_lot(phone: Client, shop: Shop) -> None:
    shop.run(shop.north, shop.rape, timezone.now() - timedelta(hours=9), "8", "400")
    text = page(phone, f"/log/run/?press={shop.north.pk}")
    assert chosen_crop(text) == str(shop.rape.pk)
    assert 'value="L-7"' in text
    typed = {"ref": new_ref(), "press": shop.north.pk, "to_crop": shop.sunflower.pk, "signed_by": "Oskar"}
    phone.post("/log/crop-change/", typed)
    text = page(phone, f"/log/run/?press={shop.north.pk}")
    assert chosen_crop(text) == str(shop.sunflower.pk)
    assert 'value="L-7"' not in text


def chosen_crop(text: str) -> str:
    found = re.search(r'name="crop" value="(\d+)"[^>]*checked', text)
    return found[1] if found else ""


def test_a_run_through_a_die_for_another_crop_asks_whether_it_was_changed(phone: Client, shop: Shop) -> None:
    typed = {"ref": new_ref(), "press": shop.north.pk, "crop": shop.sunflower.pk, "seed": "80"}
    text = phone.post("/log/run/", {**typed, "seed_unit": "kg", "hours_h": "4"}, follow=True).content.decode()
    assert "D-1 A sits on die and is not a die for sunflower." in text
