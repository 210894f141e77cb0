"""One grid: no page jumps sideways, and a laptop shows beside each other what a phone shows in turn."""

from __future__ import annotations

import pytest
from django.conf import settings
from playwright.sync_api import Locator, Page

from tests.browser.program import MakeContext, SignIn
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from wearlog.people.models import User

PAGES = (
    "/", "/due/", "/presses/", "/presses/{north}/", "/parts/", "/log/", "/log/run/?press={north}",
    "/compare/", "/worth/", "/plan/", "/rules/", "/presses/new/?build=twin", "/settings/",
)  # fmt: skip


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


def sides(there: Locator) -> tuple[int, int]:
    box = there.bounding_box()
    assert box is not None
    return round(box["x"]), round(box["x"] + box["width"])


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_every_page_has_the_same_margins_and_goes_nowhere_sideways(
    width: int, context_of: MakeContext, sign_in: SignIn, shop: LookMill
) -> None:
    page = context_of(viewport={"width": width, "height": 800}).new_page()
    sign_in(page, User.objects.get(username="owner"))
    found = set()
    for path in PAGES:
        page.goto(path.format(north=shop.north.pk))
        found.add(sides(page.locator("header.title")))
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
    assert len(found) == 1


def test_on_a_laptop_a_press_stands_beside_its_jobs_and_a_new_one_beside_what_sits_on_it(
    page: Page, sign_in: SignIn, shop: LookMill
) -> None:
    sign_in(page, User.objects.get(username="owner"))
    for path, left, right in (
        ("/presses/{north}/", ".press-frame", "svg.machine"),
        ("/presses/new/?build=cage", "svg.machine", ".seat-now"),
    ):
        page.goto(path.format(north=shop.north.pk))
        assert sides(page.locator(left).first)[1] < sides(page.locator(right).first)[0], path


def test_what_the_drawing_leads_to_is_a_link_of_full_size_in_the_list_beside_it(
    page: Page, sign_in: SignIn, shop: LookMill
) -> None:
    sign_in(page, User.objects.get(username="owner"))
    page.goto(f"/presses/{shop.twin.pk}/")
    page.evaluate("document.querySelectorAll('main details').forEach(fold => { fold.open = true })")
    drawn = page.evaluate("[...document.querySelectorAll('.callout')].map(one => one.getAttribute('href'))")
    assert len(drawn) >= 2
    for address in drawn:
        target = address if address.startswith("#") else f'main a:not(svg a)[href="{address}"]'
        assert page.locator(target).first.is_visible(), address


@pytest.mark.parametrize("language", [code for code, _name in settings.LANGUAGES])
def test_the_three_ways_in_cover_no_tab_and_no_menu(
    language: str, context_of: MakeContext, sign_in: SignIn, shop: LookMill
) -> None:
    User.objects.update(language=language)
    page = context_of(viewport={"width": 768, "height": 800}).new_page()
    sign_in(page, User.objects.get(username="owner"))
    for width in (768, 1024, 1200, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        page.goto("/")
        boxes = {
            name: [one.bounding_box() for one in page.locator(where).all()]
            for name, where in (("tabs", ".tabs > a, .tabs summary"), ("ways", "nav.ways-in > a"))
        }
        assert len(boxes["ways"]) == 3
        assert len(boxes["tabs"]) == 7
        for tab in boxes["tabs"]:
            assert tab is not None
            for way in boxes["ways"]:
                assert way is not None
                beside = tab["x"] + tab["width"] <= way["x"] or way["x"] + way["width"] <= tab["x"]
                above = tab["y"] + tab["height"] <= way["y"] or way["y"] + way["height"] <= tab["y"]
                assert beside or above, (width, tab, way)
        lines = {round(tab["y"]) for tab in boxes["tabs"] if tab is not None}
        assert len(lines) <= 2, width


@pytest.mark.parametrize("language", [code for code, _name in settings.LANGUAGES])
def test_the_sheets_for_all_presses_and_for_a_week_and_that_on_the_wall_fit_a_tablet(
    language: str, context_of: MakeContext, sign_in: SignIn, shop: LookMill
) -> None:
    User.objects.update(language=language)
    page = context_of(viewport={"width": 768, "height": 800}).new_page()
    sign_in(page, User.objects.get(username="owner"))
    for path in ("/log/sheet/", "/presses/{north}/week/", "/presses/{north}/wall-sheet/", "/parts/"):
        page.goto(path.format(north=shop.north.pk))
        for width in (768, 1280):
            page.set_viewport_size({"width": width, "height": 800})
            table = page.locator(".frame:has(table)").first
            room, needed = table.evaluate("frame => [frame.clientWidth, frame.scrollWidth]")
            assert needed <= room, (path, width)
