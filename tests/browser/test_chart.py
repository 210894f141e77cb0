"""The charts of throughput and wear on the pages of a press and a part, in a real browser: by day and night,
narrow and wide."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.axe import findings_by_day_and_night
from tests.browser.narrow import WIDTH, narrow_page, open_folds, sideways
from tests.browser.program import MakeContext, SignIn
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from wearlog.people.models import User

POLICY = """() => {
  window.against = [];
  document.addEventListener('securitypolicyviolation', found => window.against.push(found.violatedDirective));
}"""
AGAIN = "document.querySelectorAll('.chart').forEach(chart => { chart.outerHTML = chart.outerHTML })"
"""The pictures parsed anew, so that what the content policy forbids in it is told while somebody listens."""
WORDS_OUTSIDE = """() => {
  return [...document.querySelectorAll('.chart text')].filter(word => word.checkVisibility()).filter(word => {
    const sheet = word.closest('.chart-sheet').getBoundingClientRect(), box = word.getBoundingClientRect();
    return box.left < sheet.left || box.right > sheet.right
      || box.top < sheet.top || box.bottom > sheet.bottom;
  }).map(word => word.textContent);
}"""
SMALLEST = """() => Math.min(...[...document.querySelectorAll('.chart text')].filter(
  word => word.checkVisibility()).map(word =>
  parseFloat(getComputedStyle(word).fontSize) * word.ownerSVGElement.getScreenCTM().a))"""


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


def opened(page: Page, sign_in: SignIn, shop: LookMill) -> Page:
    sign_in(page, User.objects.get())
    page.goto(f"/presses/{shop.north.pk}/")
    expect(page.get_by_role("img", name="Throughput of North press over time")).to_be_visible()
    return page


@pytest.mark.parametrize("address", ["/parts/1/", "/compare/", "/plan/", "/how-it-goes/"])
@pytest.mark.parametrize("language", ["en", "de", "fr"])
def test_pictures_are_accessible_by_day_and_night_and_within_their_sheets_in_each_language(
    context_of: MakeContext, sign_in: SignIn, shop: LookMill, language: str, address: str
) -> None:
    User.objects.update(language=language)
    page = narrow_page(context_of)
    sign_in(page, User.objects.get())
    page.goto(address.replace("/1/", f"/{shop.die.pk}/"))
    expect(page.locator(".chart:visible").first).to_be_visible()
    open_folds(page)
    assert findings_by_day_and_night(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= WIDTH
    assert page.evaluate(WORDS_OUTSIDE) == []
    assert page.evaluate(SMALLEST) >= 13
    assert sideways(page) == []
    page.evaluate(POLICY)
    page.evaluate(AGAIN)
    assert page.evaluate("new Promise(done => setTimeout(() => done(window.against.length), 100))") == 0


def test_the_edges_of_a_part_stand_side_by_side_on_a_desk(
    phone: Page, sign_in: SignIn, shop: LookMill
) -> None:
    sign_in(phone, User.objects.get())
    phone.set_viewport_size({"width": 1280, "height": 800})
    phone.goto(f"/parts/{shop.die.pk}/")
    first, second = (chart.bounding_box() for chart in phone.locator(".chart").all())
    assert first is not None
    assert second is not None
    assert first["y"] == second["y"]
    assert second["x"] > first["x"] + first["width"]


def test_on_a_narrow_phone_it_is_accessible_by_day_and_night_and_within_its_sheet(
    context_of: MakeContext, sign_in: SignIn, shop: LookMill
) -> None:
    page = opened(narrow_page(context_of), sign_in, shop)
    open_folds(page)
    assert findings_by_day_and_night(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= WIDTH
    assert page.evaluate(WORDS_OUTSIDE) == []
    assert page.evaluate(SMALLEST) >= 13
    assert sideways(page) == []


def test_the_content_policy_forbids_nothing_in_it_and_would_forbid_a_style(
    phone: Page, sign_in: SignIn, shop: LookMill
) -> None:
    page = opened(phone, sign_in, shop)
    page.evaluate(POLICY)
    page.evaluate(AGAIN)
    assert page.evaluate("new Promise(done => setTimeout(() => done(window.against.length), 100))") == 0
    page.evaluate("document.querySelector('.chart g').innerHTML += '<path style=\"fill: red\" d=\"M0,0\"/>'")
    page.wait_for_function("window.against.length > 0")


def test_by_night_ink_and_paper_change_places(phone: Page, sign_in: SignIn, shop: LookMill) -> None:
    page = opened(phone, sign_in, shop)
    ink = "getComputedStyle(document.querySelector('.chart .points > *')).fill"
    body = "getComputedStyle(document.body).color"
    by_day = page.evaluate(ink)
    assert by_day == page.evaluate(body)
    page.emulate_media(color_scheme="dark")
    assert page.evaluate(ink) == page.evaluate(body)
    assert page.evaluate(ink) != by_day
    page.emulate_media(color_scheme="light", media="print")
    expect(page.locator(".chart")).to_be_visible()


def test_it_stands_after_what_wears_on_a_phone_and_beside_it_on_a_desk(
    phone: Page, sign_in: SignIn, shop: LookMill
) -> None:
    def top_of(selector: str) -> tuple[float, float]:
        box = page.locator(selector).bounding_box()
        assert box is not None
        return box["y"], box["x"]

    page = opened(phone, sign_in, shop)
    places = [top_of(it)[0] for it in (".machine", "#to-do", "#wears", ".chart", "#fitted")]
    assert places == sorted(places)
    page.set_viewport_size({"width": 1280, "height": 800})
    page.evaluate("scrollTo(0, 0)")
    assert top_of(".chart")[1] > top_of("#wears")[1] + 500
    assert top_of(".machine")[0] < top_of(".chart")[0]
    assert top_of("#to-do")[0] < top_of(".chart")[0]
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280


def test_a_desk_shows_the_pictures_beside_the_days_jobs_and_a_phone_never_asks_for_them(
    phone: Page, context_of: MakeContext, sign_in: SignIn, shop: LookMill
) -> None:
    asked: list[str] = []
    for page in (
        phone,
        context_of(viewport={"width": 1280, "height": 800}, reduced_motion="reduce").new_page(),
    ):
        sign_in(page, User.objects.get())
        page.on("request", lambda request: asked.append(request.url))
        page.goto("/", wait_until="networkidle")
    assert len([url for url in asked if url.endswith("/how-it-goes/")]) == 1
    expect(page.locator("[data-beside] .chart")).to_have_count(2)
    expect(phone.locator("[data-beside] .chart")).to_have_count(0)
    expect(phone.get_by_role("link", name="How it goes")).to_be_visible()
    chart, job = (
        page.locator(".chart").first.bounding_box(),
        page.locator(".press-frame").first.bounding_box(),
    )
    assert chart is not None
    assert job is not None
    assert chart["x"] > job["x"] + job["width"]
    assert findings_by_day_and_night(page) == []
    page.emulate_media(media="print")
    expect(page.locator("[data-beside]")).to_be_hidden()
