"""At the press, with a phone: the crop is changed in one form, and saving stays in sight on long ones."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from tests.browser.axe import findings
from tests.mills.log_shop import Shop
from wearlog.equipment.models import Fitting
from wearlog.people.models import Mill, Role, User
from wearlog.runs.models import PlanEntry
from wearlog.service.models import CropChange, Service

SignIn = Callable[[Page, User], None]


@pytest.fixture
def shop(fresh_log: None) -> Shop:
    Mill.objects.create(name="Test mill", time_zone="Europe/Vienna", units="metric")
    made = Shop()
    made.small.expected_life_kg = Decimal(14000)
    made.small.save()
    made.large.expected_life_kg = Decimal(9000)
    made.large.save()
    made.run(made.north, made.rape, timezone.now() - timedelta(hours=9), "8", "400")
    return made


@pytest.fixture
def opened(phone: Page, sign_in: SignIn, shop: Shop) -> Page:
    sign_in(phone, User.objects.create_user("ines", name="Ines", role=Role.MAINTAINER))
    phone.goto(f"/presses/{shop.north.pk}/")
    return phone


class Thumb:
    """Counts what it touches."""

    def __init__(self) -> None:
        self.taps = 0

    def tap(self, what: Locator) -> None:
        what.tap()
        self.taps += 1


def test_the_crop_is_changed_with_five_taps_from_the_press(opened: Page, shop: Shop) -> None:
    """Nothing is planned, so that crop and die are chosen by hand: the most that it can take."""
    thumb = Thumb()
    thumb.tap(opened.get_by_role("link", name="Change the crop"))
    thumb.tap(opened.get_by_role("radio", name="sunflower", exact=True))
    first = opened.locator(".dies li").first
    expect(first).to_contain_text("D-3, edge A")
    thumb.tap(opened.locator(".dies li").nth(1).locator("label"))
    thumb.tap(opened.get_by_text("Barrel, head and trough are cleaned"))
    thumb.tap(opened.get_by_role("button", name="Sign the change"))
    expect(opened.get_by_text("Cleaned for sunflower, signed by Ines.")).to_be_visible()
    assert thumb.taps <= 5
    assert CropChange.objects.get().to_crop == shop.sunflower
    on_now = Fitting.objects.open().get(position=shop.die_place)
    assert (on_now.part, on_now.edge) == (shop.d3, "B")


def test_where_the_proposals_fit_three_taps_do_and_the_screw_is_a_fourth(opened: Page, shop: Shop) -> None:
    day = timezone.localdate()
    PlanEntry.objects.create(
        press=shop.north, crop=shop.sunflower, start_on=day, end_on=day + timedelta(days=9), seed_kg=5000
    )
    thumb = Thumb()
    thumb.tap(opened.get_by_role("link", name="Change the crop"))
    expect(opened.locator(".dies li").first).to_contain_text("unused, about 9.00 t left, enough")
    thumb.tap(opened.get_by_text("Barrel, head and trough are cleaned"))
    thumb.tap(opened.get_by_text("Screw S-1 is looked at"))
    thumb.tap(opened.get_by_role("button", name="Sign the change"))
    expect(opened.get_by_text("Cleaned for sunflower, signed by Ines.")).to_be_visible()
    assert thumb.taps == 4
    assert sorted(Service.objects.values_list("action", flat=True)) == ["clean", "inspect", "replace"]
    assert Fitting.objects.open().get(position=shop.die_place).part == shop.d3


def test_another_crop_brings_its_dies_to_the_top_and_leaves_what_was_chosen(opened: Page, shop: Shop) -> None:
    opened.goto(f"/log/crop-change/?press={shop.north.pk}&to={shop.sunflower.pk}")
    lines = opened.locator(".dies li")
    expect(lines.first).to_contain_text("D-3, edge A")
    opened.locator(".dies details summary").tap()
    opened.get_by_text("D-5, edge B").tap()
    opened.get_by_role("radio", name="sunflower", exact=True).tap()
    expect(opened.locator(".dies input:checked")).to_have_value(f"{shop.d5.pk}:B")
    assert findings(opened) == []
    assert opened.evaluate("document.documentElement.scrollWidth") <= 360


IN_SIGHT = """(button) => {
  const box = button.getBoundingClientRect();
  const middle = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
  return scrollY === 0 && box.top >= 0 && box.bottom <= innerHeight && button.contains(middle);
}"""


@pytest.mark.parametrize(
    ("address", "button"),
    [
        ("/log/run/?press={press}", "Save the run"),
        ("/log/work/?fitting={die}&action=flip", "Save the work"),
        ("/log/work/?fitting={die}&action=replace", "Save the work"),
        ("/log/crop-change/?press={press}", "Sign the change"),
        ("/log/incident/?press={press}", "Report it"),
    ],
)
def test_saving_is_in_sight_without_scrolling(opened: Page, shop: Shop, address: str, button: str) -> None:
    opened.goto(address.format(press=shop.north.pk, die=shop.d1_on.pk))
    save = opened.get_by_role("button", name=button, exact=True)
    assert opened.viewport_size == {"width": 360, "height": 740}
    assert save.evaluate(IN_SIGHT)
    # And it is the plain bar that does it: without it the button lies below the screen.
    opened.evaluate("document.querySelector('.savebar').style.position = 'static'")
    assert not save.evaluate(IN_SIGHT)
