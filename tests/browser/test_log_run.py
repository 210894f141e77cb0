"""At the press, with a phone: a run in three touches and two numbers, and a flip."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.axe import findings
from tests.mills.log_shop import Shop
from wearlog.equipment.models import Fitting
from wearlog.people.models import Mill, Role, User
from wearlog.runs.models import Reading, Run
from wearlog.service.models import Service

SignIn = Callable[[Page, User], None]


@pytest.fixture
def mill(fresh_log: None) -> Mill:
    return Mill.objects.create(name="Test mill", time_zone="Europe/Vienna", units="metric")


@pytest.fixture
def shop(mill: Mill) -> Shop:
    made = Shop()
    made.fit(made.d5, "A", made.right)
    return made


@pytest.fixture
def ines(mill: Mill) -> User:
    return User.objects.create_user("ines", name="Ines", role=Role.MAINTAINER)


def usual(shop: Shop, by: User) -> None:
    """Three runs of the usual pace, by the meter, so that the person's press, crop and meter are known."""
    now = timezone.now()
    for back, meter in ((3, "100"), (2, "108"), (1, "116")):
        end = now - timedelta(days=back)
        run = shop.run(shop.north, shop.rape, end - timedelta(hours=8), None, "400", by=by)
        Run.objects.filter(pk=run.pk).update(ended_at=end, ends_at=end)
        shop.reading(shop.north, meter, end)


def test_a_run_takes_three_touches_and_two_numbers(
    phone: Page, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    usual(shop, ines)
    sign_in(phone, ines)
    phone.goto("/log/run/")
    touches = 0
    for label, number in (("Hour meter shows", "124"), ("Seed pressed", "410,5")):
        field = phone.get_by_label(label)
        field.tap()
        touches += 1
        field.press_sequentially(number)
    phone.get_by_role("button", name="Save the run").tap()
    touches += 1
    expect(phone.get_by_text("410.5 kg of rapeseed on North press")).to_be_visible()
    assert touches == 3
    run = Run.objects.order_by("-entered_at").exclude(ref__startswith="r-").get()
    assert (run.press, run.crop, run.seed_kg) == (shop.north, shop.rape, Decimal("410.5"))
    assert Reading.objects.filter(meter_h=124).exists()


def test_the_run_page_fits_a_phone_and_its_controls_a_glove(
    phone: Page, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    usual(shop, ines)
    sign_in(phone, ines)
    phone.goto("/log/run/")
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360
    for control in phone.locator("form.sheet button, form.sheet input[type=text], form.sheet select").all():
        box = control.bounding_box() if control.is_visible() else None
        assert box is None or box["height"] >= 48, control.evaluate("each => each.outerHTML")
    seed = phone.get_by_label("Seed pressed")
    assert seed.get_attribute("inputmode") == "decimal"
    assert findings(phone) == []


def test_the_weight_of_a_bag_is_asked_only_for_bags(
    phone: Page, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    usual(shop, ines)
    sign_in(phone, ines)
    phone.goto("/log/run/")
    weight = phone.get_by_label("One bag weighs")
    expect(weight).to_be_hidden()
    phone.get_by_label("Unit", exact=True).select_option("bag")
    expect(weight).to_be_visible()


def test_the_weight_of_a_bag_follows_the_crop(phone: Page, sign_in: SignIn, shop: Shop, ines: User) -> None:
    usual(shop, ines)
    sign_in(phone, ines)
    kept = f"bag:20:{shop.rape.pk}=25|{shop.sunflower.pk}=20"
    phone.goto("/log/run/")
    cookie = {"name": f"seed-unit-{ines.pk}", "value": kept, "url": phone.url}
    phone.context.add_cookies([cookie])  # type: ignore[list-item]
    phone.goto("/log/run/")
    bag = phone.get_by_label("One bag weighs")
    expect(bag).to_have_value("25")  # of the crop that was pressed last
    phone.get_by_role("radio", name="sunflower", exact=True).check(force=True)
    expect(bag).to_have_value("20")
    expect(phone.get_by_text("Last typed: rapeseed 25 kg, sunflower 20 kg.")).to_be_visible()


def test_an_error_leads_to_its_field_and_keeps_the_other_number(
    phone: Page, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    usual(shop, ines)
    sign_in(phone, ines)
    phone.goto("/log/run/")
    phone.get_by_label("Hour meter shows").fill("12x")
    phone.get_by_label("Seed pressed").fill("400")
    phone.get_by_role("button", name="Save the run").tap()
    phone.get_by_role("alert").get_by_role("link").tap()
    expect(phone.get_by_label("Hour meter shows")).to_be_focused()
    expect(phone.get_by_label("Seed pressed")).to_have_value("400")
    assert findings(phone) == []


def test_a_doubt_is_answered_with_one_tick(phone: Page, sign_in: SignIn, shop: Shop, ines: User) -> None:
    usual(shop, ines)
    sign_in(phone, ines)
    phone.goto("/log/run/")
    phone.get_by_label("Hour meter shows").fill("124")
    phone.get_by_label("Seed pressed").fill("1400")
    phone.get_by_role("button", name="Save the run").tap()
    expect(phone.get_by_text("Is this right?")).to_be_visible()
    assert findings(phone) == []
    phone.get_by_role("checkbox", name="Yes, it is right").tap()
    phone.get_by_role("button", name="Save the run").tap()
    expect(phone.get_by_text("Saved:")).to_be_visible()


def test_a_die_is_flipped_from_the_press(phone: Page, sign_in: SignIn, shop: Shop, ines: User) -> None:
    sign_in(phone, ines)
    phone.goto(f"/log/work/?press={shop.north.pk}")
    phone.get_by_role("link", name="Flip die").tap()
    expect(phone.get_by_text("lock out before you open or reach in")).to_be_visible()
    assert findings(phone) == []
    phone.get_by_role("button", name="Save the work").tap()
    expect(phone.get_by_text("Flipped die D-1, edge A · North press.")).to_be_visible()
    now = Fitting.objects.open().get(position=shop.die_place)
    assert (now.part.code, now.edge) == ("D-1", "B")
    assert Service.objects.get().action == "flip"


def test_the_other_pages_have_no_findings(phone: Page, sign_in: SignIn, shop: Shop, ines: User) -> None:
    usual(shop, ines)
    ines.role = Role.OWNER
    ines.save()
    sign_in(phone, ines)
    run = Run.objects.latest("started_at")
    for address in (
        "/log/",
        f"/log/run/{run.pk}/",
        f"/log/run/{run.pk}/correct/",
        f"/log/run/{run.pk}/void/",
        f"/log/work/?press={shop.north.pk}",
        f"/log/work/?fitting={shop.d1_on.pk}&action=replace",
        f"/log/work/?fitting={shop.s1_on.pk}&action=polish",
        f"/log/incident/?press={shop.north.pk}",
        f"/log/crop-change/?press={shop.north.pk}",
        "/log/note/",
        f"/log/reading/?press={shop.north.pk}",
        f"/log/measurement/?part={shop.d1.pk}",
        f"/log/fitting/end/?fitting={shop.d1_on.pk}",
        f"/log/fitting/swap/?fitting={shop.d1_on.pk}",
        f"/presses/{shop.north.pk}/edit/",
        "/presses/new/",
        f"/presses/{shop.north.pk}/energy/",
        "/parts/new/",
        "/part-types/",
        "/part-types/new/",
        "/crops/",
        "/rules/new/",
        "/plan/",
        "/plan/new/",
        "/prices/new/",
        "/people/",
        "/people/new/",
        "/me/",
        "/settings/",
        "/exchange/",
    ):
        answer = phone.goto(address)
        assert answer is not None
        assert answer.status == 200, address
        assert phone.evaluate("document.documentElement.scrollWidth") <= 360, address
        assert findings(phone) == [], address
