"""A week typed up by keyboard alone."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal

import pytest
from playwright.sync_api import Page, expect

from tests.mills.log_shop import Shop
from wearlog.lockout.models import EnergySource
from wearlog.people.models import Mill, Role, User
from wearlog.runs.models import Run

SignIn = Callable[[Page, User], None]


@pytest.fixture
def shop(fresh_log: None) -> Shop:
    Mill.objects.create(name="Test mill", time_zone="Europe/Vienna", units="metric")
    return Shop()


def test_a_week_is_typed_with_tab_and_enter_alone(page: Page, sign_in: SignIn, shop: Shop) -> None:
    sign_in(page, User.objects.create_user("ines", name="Ines", role=Role.OPERATOR))
    page.goto(f"/presses/{shop.north.pk}/week/?from=2026-03-02")
    page.get_by_label("Until, Mon 2 Mar").select_text()
    keys = page.keyboard
    for hours, kilograms in (("8", "400"), ("7:30", "380,5"), ("9", "450")):
        keys.type("18")
        keys.press("Tab")
        keys.type("rape")
        keys.press("Enter")
        keys.type(hours)
        keys.press("Enter")
        keys.type(kilograms)
        keys.press("Enter")
    expect(page.get_by_label("Until, Thu 5 Mar")).to_be_focused()
    expect(page.get_by_label("Seed, Tue 3 Mar")).to_have_value("380,5")
    page.get_by_label("Seed, Sun 8 Mar").focus()
    keys.press("Enter")
    expect(page.get_by_role("button", name="Save the sheet")).to_be_focused()
    keys.press("Enter")
    expect(page.get_by_text("Saved: 3 runs")).to_be_visible()
    assert [run.seed_kg for run in Run.objects.order_by("started_at")] == [
        Decimal(400),
        Decimal("380.5"),
        Decimal(450),
    ]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_wall_sheet_prints_on_one_page(paper: str, page: Page, sign_in: SignIn, shop: Shop) -> None:
    for number in range(10):
        EnergySource.objects.create(
            press=shop.north, source=f"energy source number {number}", kind="electrical", isolate_at="Q1"
        )
    sign_in(page, User.objects.create_user("ines", name="Ines", role=Role.OPERATOR))
    page.goto(f"/presses/{shop.north.pk}/wall-sheet/")
    sheets = re.findall(
        rb"/Type\s*/Page\b", page.pdf(format=paper, landscape=True, prefer_css_page_size=True)
    )
    assert len(sheets) == 1
