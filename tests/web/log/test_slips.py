"""A likely slip in a size is asked about once, with what was probably meant; what was typed is kept."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import Shop
from wearlog.people.models import User
from wearlog.service.models import Measurement
from wearlog.web.site.forms import new_ref


def gauged(shop: Shop, value: str, days_ago: int) -> None:
    at = timezone.now() - timedelta(days=days_ago)
    Measurement.objects.create(
        ref=f"g{days_ago}",
        part=shop.d1,
        edge="A",
        value_mm=Decimal(value),
        measured_at=at,
        entered_at=at,
    )


@pytest.fixture
def worn(shop: Shop) -> Shop:
    gauged(shop, "5.20", 24)
    gauged(shop, "5.26", 12)
    return shop


def entry(shop: Shop, value: str, **more: str) -> dict[str, str]:
    return {"part": str(shop.d1.pk), "ref": new_ref(), "edge": "A", "value_mm": value, **more}


def hidden(text: str) -> dict[str, str]:
    """What the page sends along with a second press of the button."""
    asked = text.split('id="doubts"')[1].split("</fieldset>")[0]
    return dict(re.findall(r'<input\s+type="hidden" name="(\w+)" value="([^"]*)"', asked))


def offered(text: str) -> list[str]:
    return re.findall(r'type="radio" name="take"\s+value="([^"]+)"', text)


def last() -> Measurement:
    return Measurement.objects.latest("pk")


@pytest.mark.parametrize(
    ("typed", "proposed"),
    [("53", "5.3"), ("0.53", "5.3"), ("5.92", "5.29"), ("0.31", "5.31"), ("0.208", "5.2832")],
)
def test_each_slip_is_asked_about_with_what_was_meant_and_one_touch_takes_it(
    phone: Client, worn: Shop, typed: str, proposed: str
) -> None:
    first = entry(worn, typed, note="dirty")
    answer = phone.post("/log/measurement/", first)
    text = answer.content.decode()
    assert answer.status_code == 200
    assert f"Did you mean {proposed} mm?" in text or "It looks like inches." in text
    assert "the last value there was 5.26 mm" in text
    assert Measurement.objects.count() == 2
    assert "dirty" in text
    again = {**first, **hidden(text), "take": offered(text)[0]}
    assert phone.post("/log/measurement/", again).status_code == 302
    assert last().value_mm == Decimal(proposed).quantize(Decimal("0.001"))
    assert last().note == "dirty"


def test_a_second_press_of_the_button_saves_what_was_typed(phone: Client, worn: Shop) -> None:
    first = entry(worn, "53")
    text = phone.post("/log/measurement/", first).content.decode()
    assert 'value="53"' in text
    again = {**first, **hidden(text), "take": ""}
    assert phone.post("/log/measurement/", again).status_code == 302
    assert last().value_mm == 53


def test_another_number_than_the_one_asked_about_is_asked_about_anew(phone: Client, worn: Shop) -> None:
    first = entry(worn, "53")
    text = phone.post("/log/measurement/", first).content.decode()
    again = {**first, **hidden(text), "take": "", "value_mm": "530"}
    text = phone.post("/log/measurement/", again).content.decode()
    assert "530 mm on D-1 is far off" in text
    assert Measurement.objects.count() == 2


def test_wear_as_it_went_on_so_far_is_not_asked_about(phone: Client, worn: Shop) -> None:
    for value in ("5.32", "5.29", "5.40"):
        assert phone.post("/log/measurement/", entry(worn, value)).status_code == 302


def test_swapped_digits_within_half_a_step_are_asked_about_only_where_they_explain_it(
    phone: Client, worn: Shop
) -> None:
    """5.13 and 5.12 both lie 0.19 mm and more from the 5.32 that the wear so far leads to."""
    text = phone.post("/log/measurement/", entry(worn, "5.13")).content.decode()
    assert offered(text) == ["5.130000:5.310"]
    assert phone.post("/log/measurement/", entry(worn, "5.11")).status_code == 302


@pytest.mark.parametrize("action", ["measure", "flip", "polish"])
def test_work_that_takes_a_size_asks_in_the_same_way(phone: Client, worn: Shop, action: str) -> None:
    name = "before_0" if action == "polish" else "value_0"
    first = {
        "ref": new_ref(), "press": str(worn.north.pk), "action": action, "fitting": str(worn.d1_on.pk),
        "position": str(worn.d1_on.position_id), "to_edge": "B", name: "53",
    }  # fmt: skip
    text = phone.post("/log/work/", first).content.decode()
    assert "Did you mean 5.3 mm?" in text
    assert phone.post("/log/work/", {**first, "take": offered(text)[0]}).status_code == 302
    assert last().value_mm == Decimal("5.3")


def test_after_work_any_size_is_possible_but_a_point_too_far_is_asked_about(
    phone: Client, worn: Shop
) -> None:
    first = {
        "ref": new_ref(), "press": str(worn.north.pk), "action": "polish", "fitting": str(worn.d1_on.pk),
        "position": str(worn.d1_on.position_id), "before_0": "5.3", "after_0": "53.5",
    }  # fmt: skip
    text = phone.post("/log/work/", first).content.decode()
    assert "53.5 mm on D-1 is far off" in text
    assert phone.post("/log/work/", {**first, "after_0": "6.2"}).status_code == 302


def test_in_inches_the_question_and_the_proposal_are_in_inches(
    phone: Client, worn: Shop, operator: User
) -> None:
    operator.units = "us"
    operator.save()
    first = entry(worn, "2.08")
    text = phone.post("/log/measurement/", first).content.decode()
    assert "No, 0.2080 in is meant" in re.sub(r"\s+", " ", text)
    assert phone.post("/log/measurement/", {**first, "take": offered(text)[0]}).status_code == 302
    assert last().value_mm == Decimal("5.283200")


def test_what_a_phone_sends_later_is_stored_as_it_was_typed_and_shown_on_the_part(
    phone: Client, worn: Shop
) -> None:
    asked = phone.post("/log/measurement/", entry(worn, "53"), headers={"X-Wearlog-Queue": "q-1"})
    assert asked.json()["state"] == "asked"  # somebody waits
    headers = {"X-Wearlog-Queue": "q-2", "X-Wearlog-Later": "1"}
    assert phone.post("/log/measurement/", entry(worn, "53"), headers=headers).json()["state"] == "saved"
    assert last().value_mm == 53


def test_a_made_up_choice_changes_nothing(phone: Client, worn: Shop) -> None:
    for take in ("x:y", "5.3:", "1:2:3", "53:1e9", "5.31:9"):
        first = entry(worn, "5.3", take=take)
        assert phone.post("/log/measurement/", first).status_code == 302
        assert last().value_mm == Decimal("5.3")


def test_a_link_proposes_a_number_for_a_correction(phone: Client, worn: Shop) -> None:
    phone.post("/log/measurement/", entry(worn, "53", confirm="large_step"))
    address = f"/log/measurement/{last().pk}/correct/"
    assert 'value="5.3"' in phone.get(f"{address}?value_mm=5.3").content.decode()
    assert 'value="53"' in phone.get(f"{address}?value_mm=5.3%22").content.decode()
    assert 'value="53"' in phone.get(address).content.decode()
