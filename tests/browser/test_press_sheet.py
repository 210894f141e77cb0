"""The sheet of a press: how long it is on a phone, and that another build loses nothing that was typed."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.program import MakeContext, SignIn
from tests.browser.screens import SCREEN, screens
from wearlog.equipment.models import Part, Press
from wearlog.people.models import Mill, User

SHEET = "/presses/new/?build=hole-cylinder"


@pytest.fixture
def olga(fresh_log: None) -> User:
    Mill.objects.create(name="Larch mill", time_zone="Europe/Vienna", units="metric")
    return User.objects.create_user("olga", name="Olga", role="owner")


def seat(page: Page, name: str, fact: str) -> str:
    return page.get_by_role("group", name=name).get_by_label(fact).input_value()


@pytest.mark.parametrize("script", [True, False])
def test_the_sheet_takes_four_screens_and_another_build_keeps_what_was_typed(
    context_of: MakeContext, sign_in: SignIn, olga: User, script: bool
) -> None:
    phone = context_of(
        viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True, java_script_enabled=script
    ).new_page()
    sign_in(phone, olga)
    phone.goto(SHEET)
    banner = phone.get_by_text("Reminders do not run yet.").locator("..").bounding_box()
    assert banner is not None
    assert screens(phone) - banner["height"] / SCREEN <= 4.2

    phone.get_by_label("Short name").fill("North")
    phone.get_by_label("Usual seed in an hour").fill("13 kg")
    phone.get_by_role("group", name="Die").get_by_label("Mark").fill("D8-04")
    phone.get_by_role("group", name="Die").get_by_label("Hours so far").fill("310h")
    phone.get_by_role("group", name="Screw").get_by_label("Mark").fill("S-04")
    phone.get_by_label("Pressure behind the die").check()
    phone.get_by_label("rapeseed").check()
    phone.get_by_text("What to be reminded of").tap()
    phone.get_by_label("Look at the belt").uncheck()

    phone.get_by_role("button", name="Cage press").tap()
    expect(phone.get_by_role("group", name="Choke")).to_be_visible()
    expect(phone.get_by_text("This field is required")).to_have_count(0)
    assert phone.get_by_label("Short name").input_value() == "North"
    expect(phone.get_by_label("rapeseed")).to_be_checked()
    phone.get_by_role("group", name="Choke").get_by_label("Mark").fill("K-1")

    phone.get_by_role("button", name="Twin press").tap()
    expect(phone.get_by_role("group", name="Die right")).to_have_count(0)
    phone.get_by_text("Die right", exact=True).first.tap()  # what is like another one is folded
    expect(phone.get_by_role("group", name="Die right")).to_be_visible()
    assert seat(phone, "Die left", "Mark") == "D8-04"
    assert seat(phone, "Screw left", "Mark") == "S-04"
    phone.get_by_role("button", name="Hole-cylinder press").tap()
    expect(phone.get_by_role("group", name="Die right")).to_have_count(0)
    assert (seat(phone, "Die", "Mark"), seat(phone, "Die", "Hours so far")) == ("D8-04", "310h")
    assert phone.get_by_label("Usual seed in an hour").input_value() == "13 kg"
    expect(phone.get_by_label("Pressure behind the die")).to_be_checked()
    expect(phone.get_by_text("kept while you look at the builds")).to_be_visible()
    phone.get_by_text("What to be reminded of").tap()
    expect(phone.get_by_label("Look at the belt")).not_to_be_checked()
    expect(phone.get_by_label("Gauge the die")).to_be_checked()
    assert not Press.objects.exists()

    # Enter in a field writes the press down as it is shown, and does not choose a build.
    phone.get_by_label("Pressure behind the die").uncheck()
    phone.get_by_label("Short name").press("Enter")
    expect(phone.get_by_text("Saved: North.")).to_be_visible()
    assert set(Part.objects.values_list("code", flat=True)) == {"D8-04", "S-04"}


@pytest.mark.parametrize(("build", "most"), [("hole-cylinder", 4.2), ("cage", 4.7), ("twin", 4.7)])
def test_the_sheet_of_each_build_takes_less_than_five_screens(
    phone: Page, sign_in: SignIn, olga: User, build: str, most: float
) -> None:
    sign_in(phone, olga)
    phone.goto(f"/presses/new/?build={build}")
    banner = phone.get_by_text("Reminders do not run yet.").locator("..").bounding_box()
    assert banner is not None
    assert screens(phone) - banner["height"] / SCREEN <= most


def test_what_was_typed_for_a_place_like_another_is_in_sight_when_the_sheet_comes_back(
    phone: Page, sign_in: SignIn, olga: User
) -> None:
    sign_in(phone, olga)
    phone.goto("/presses/new/?build=twin")
    phone.get_by_text("Die right", exact=True).first.tap()
    phone.get_by_role("group", name="Die right").get_by_label("Hours so far").fill("many")
    phone.get_by_role("button", name="Write it down", exact=True).tap()
    expect(phone.get_by_role("alert")).to_contain_text("Die right: Hours so far")
    assert seat(phone, "Die right", "Hours so far") == "many"
    expect(phone.get_by_role("group", name="Die right")).to_be_visible()
    expect(phone.get_by_role("group", name="Screw right")).to_have_count(0)


def test_a_desk_shows_every_place_of_a_twin_at_once(page: Page, sign_in: SignIn, olga: User) -> None:
    sign_in(page, olga)
    page.goto("/presses/new/?build=twin")
    for name in ("Screw left", "Screw right", "Die left", "Die right"):
        expect(page.get_by_role("group", name=name)).to_be_visible()
