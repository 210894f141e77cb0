"""Changing the crop in one form: the die, the purge, the cleaning, the signature."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal

from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import Shop, form_of
from tests.web.html import flat
from wearlog.equipment.models import Fitting
from wearlog.people.models import Role, User
from wearlog.runs.models import PlanEntry
from wearlog.service.models import CropChange, Service

ADDRESS = "/log/crop-change/"


def opened(phone: Client, shop: Shop, **query: object) -> str:
    answer = phone.get(ADDRESS, {"press": shop.north.pk, **query})
    assert answer.status_code == 200
    return answer.content.decode()


def typed(phone: Client, shop: Shop, **more: str) -> dict[str, str]:
    """What the open page sends where a person signs a change to sunflower."""
    return {
        **form_of(opened(phone, shop)),
        "to_crop": str(shop.sunflower.pk),
        f"die_{shop.die_place.pk}": "keep",
        "cleaned": "on",
        **more,
    }


def spare(shop: Shop) -> str:
    return f"{shop.d3.pk}:B"


def test_the_dies_that_serve_the_crop_stand_first_and_what_is_on_can_stay(phone: Client, shop: Shop) -> None:
    shop.run(shop.north, shop.rape, timezone.now() - timedelta(hours=9), "8", "400")
    html = opened(phone, shop, to=shop.sunflower.pk)
    names = re.findall(r"<strong>([^<]*)</strong> <span data-left", html)
    # D-3 has ten millimetres for sunflower; D-1 (on) and the others are for rapeseed.
    assert names[:3] == ["D-3, edge A", "D-3, edge B", "Leave D-1, edge A on"]
    assert {"Turn to D-1, edge B", "D-2, edge A", "D-5, edge A"} <= set(names)


def test_each_edge_says_what_is_left_on_it(phone: Client, shop: Shop) -> None:
    shop.small.expected_life_kg = Decimal(14000)
    shop.small.save()
    shop.run(shop.north, shop.sunflower, timezone.now() - timedelta(hours=9), "8", "2000")
    html = re.sub(r"\s+", " ", opened(phone, shop, to=shop.rape.pk))
    assert "Leave D-1, edge A on</strong> <span data-left>about" in html
    assert re.search(r"D-2, edge A</strong> <span data-left>unused, about 14\.?\d* t left", html)


def test_the_plan_proposes_the_crop_and_says_how_much(phone: Client, shop: Shop) -> None:
    shop.run(shop.north, shop.rape, timezone.now() - timedelta(hours=9), "8", "400")
    day = timezone.localdate()
    PlanEntry.objects.create(
        press=shop.north, crop=shop.rape, start_on=day, end_on=day + timedelta(days=3), seed_kg=5000
    )
    PlanEntry.objects.create(
        press=shop.north,
        crop=shop.sunflower,
        start_on=day + timedelta(days=4),
        end_on=day + timedelta(days=9),
        seed_kg=5000,
    )
    html = opened(phone, shop)
    assert re.search(rf'name="to_crop" value="{shop.sunflower.pk}"[^>]*checked', html)
    assert "In the plan: 5.00 t of sunflower until" in html


def test_nothing_that_a_person_states_is_ticked_beforehand(phone: Client, shop: Shop) -> None:
    html = opened(phone, shop)
    ticks = re.findall(r'<input type="checkbox"[^>]*>', html)
    assert len(ticks) == 2  # cleaned, and the screw
    assert not [tick for tick in ticks if "checked" in tick]


def test_the_purge_is_proposed_as_last_time(phone: Client, shop: Shop) -> None:
    assert form_of(opened(phone, shop))["purge_kg"] == ""
    phone.post(ADDRESS, typed(phone, shop, purge_kg="12,5 kg", purge_h="45 min"))
    html = opened(phone, shop)
    assert form_of(html)["purge_kg"] == "12.5"
    assert form_of(html)["purge_h"] == "0.75"
    assert "purge 12.5 kg, 0:45 h" in flat(phone.get("/log/").content.decode())
    assert "As last time" in html


def test_one_signature_changes_the_die_and_stores_the_cleaning_and_the_look_at_the_screw(
    phone: Client, shop: Shop
) -> None:
    shop.run(shop.north, shop.rape, timezone.now() - timedelta(hours=9), "8", "400")
    entry = typed(
        phone,
        shop,
        **{f"die_{shop.die_place.pk}": spare(shop), f"inspected_{shop.screw_place.pk}": "on"},
    )
    assert phone.post(ADDRESS, entry).status_code == 302
    change = CropChange.objects.get()
    assert (change.from_crop, change.to_crop) == (shop.rape, shop.sunflower)
    work = {(service.action, str(service.part or "")): service for service in Service.objects.all()}
    assert set(work) == {("clean", ""), ("replace", "D-1"), ("inspect", "S-1")}
    assert {service.done_at for service in work.values()} == {change.service.done_at}
    on_now = Fitting.objects.open().get(position=shop.die_place)
    assert (on_now.part, on_now.edge) == (shop.d3, "B")


def test_the_other_edge_of_the_same_die_is_a_turn(phone: Client, shop: Shop) -> None:
    phone.post(ADDRESS, typed(phone, shop, **{f"die_{shop.die_place.pk}": "turn:B"}))
    on_now = Fitting.objects.open().get(position=shop.die_place)
    assert (on_now.part, on_now.edge) == (shop.d1, "B")
    assert sorted(Service.objects.values_list("action", flat=True)) == ["clean", "flip"]


def test_a_signature_without_the_cleaning_is_not_taken(phone: Client, shop: Shop) -> None:
    entry = typed(phone, shop, **{f"die_{shop.die_place.pk}": spare(shop)})
    del entry["cleaned"]
    answer = phone.post(ADDRESS, entry)
    assert answer.status_code == 422
    assert "Tick that the press is cleaned" in answer.content.decode()
    assert (CropChange.objects.count(), Fitting.objects.open().get(position=shop.die_place).part) == (
        0,
        shop.d1,
    )


def test_the_die_is_asked_for_and_never_taken_for_granted(phone: Client, shop: Shop) -> None:
    entry = typed(phone, shop)
    del entry[f"die_{shop.die_place.pk}"]
    answer = phone.post(ADDRESS, entry)
    assert "Choose the die, or that the one that is on stays." in answer.content.decode()
    assert CropChange.objects.count() == 0


def test_a_die_that_somebody_else_has_moved_meanwhile_stores_nothing(phone: Client, shop: Shop) -> None:
    entry = typed(phone, shop, **{f"die_{shop.die_place.pk}": spare(shop)})
    Fitting.objects.filter(pk=shop.d1_on.pk).update(removed_at=timezone.now() - timedelta(minutes=1))
    shop.fit(shop.d2, "A", shop.die_place, timezone.now() - timedelta(minutes=1))
    answer = phone.post(ADDRESS, entry)
    assert answer.status_code == 409
    assert "Open this page afresh" in answer.content.decode()
    assert (CropChange.objects.count(), Service.objects.count()) == (0, 0)


def test_a_change_that_is_sent_twice_is_one(phone: Client, shop: Shop) -> None:
    entry = typed(phone, shop, **{f"die_{shop.die_place.pk}": spare(shop)})
    assert [phone.post(ADDRESS, entry).status_code for _ in range(2)] == [302, 302]
    assert (CropChange.objects.count(), Service.objects.count()) == (1, 2)


def test_a_twin_asks_for_the_die_of_each_barrel(phone: Client, shop: Shop) -> None:
    answer = phone.get(ADDRESS, {"press": shop.twin.pk}).content.decode()
    assert answer.count('<fieldset class="field dies"') == 2
    assert "Die left" in answer
    assert "Die right" in answer


def test_a_viewer_may_not_open_it(client: Client, shop: Shop) -> None:
    client.force_login(User.objects.create_user("v", role=Role.VIEWER))
    assert client.get(ADDRESS, {"press": shop.north.pk}).status_code == 403
