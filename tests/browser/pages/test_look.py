"""The pages that show, in a real browser: accessible, readable on a phone, nothing sideways, no violation."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.axe import findings, findings_by_day_and_night
from tests.browser.narrow import narrow_page, open_folds, sideways
from tests.browser.program import MakeContext
from tests.mills.look_mill import LookMill
from wearlog.people.models import Mill, User

PAGES = [
    "/",
    "/due/",
    "/due/?state=all",
    "/due/card/?item={card}",
    "/presses/",
    "/presses/{north}/",
    "/presses/{twin}/",
    "/parts/",
    "/parts/?kind=die&sort=-worn",
    "/parts/{die}/",
    "/no-such-page/",
]
PRESS_SIDE = ["/", "/presses/{north}/", "/due/"]
NO_WORKER = "Service Worker registration blocked by Playwright"
"""The tests' own wish (`conftest.py`), which the browser tells the page."""


@pytest.fixture
def people(fresh_log: None) -> User:
    Mill.objects.create(name="Hillside mill", time_zone="Europe/Vienna", currency="EUR", units="metric")
    return User.objects.create_user("owner", name="Olga", role="owner")


@pytest.fixture
def shop(people: User) -> LookMill:
    shop = LookMill(timezone.now())
    shop.running()
    shop.note()
    shop.hold()
    shop.polish()
    shop.reading()
    return shop


def address(path: str, shop: LookMill) -> str:
    return path.format(
        north=shop.north.pk,
        twin=shop.twin.pk,
        die=shop.die.pk,
        card=f"{shop.look_rule.pk}.{shop.north.pk}.{shop.screw_place.pk}.{shop.screw.pk}.-",
    )


def visit(page: Page, path: str, shop: LookMill) -> None:
    answer = page.goto(address(path, shop))
    assert answer is not None
    assert answer.status == (404 if path == "/no-such-page/" else 200)


@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_accessible_goes_nowhere_sideways_keeps_its_policy_and_loads_nothing_from_elsewhere(
    path: str, context_of: MakeContext, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    page = narrow_page(context_of)
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    hosts: set[str] = set()
    page.on("request", lambda request: hosts.add(re.sub(r"^(https?://[^/]+).*", r"\1", request.url)))
    sign_in(page, User.objects.get(username="owner"))
    visit(page, path, shop)
    open_folds(page)
    assert findings_by_day_and_night(page) == []
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true })")
    assert page.evaluate("document.documentElement.scrollWidth") == 320
    assert sideways(page) == []
    page.wait_for_load_state("networkidle")
    own = re.sub(r"^(https?://[^/]+).*", r"\1", page.url)
    assert hosts == {own}
    assert [text for text in complaints if "404" not in text and NO_WORKER not in text] == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_in_an_open_menu(
    scheme: str, context_of: MakeContext, sign_in: Callable[[Page, User], None], people: User
) -> None:
    page = context_of(viewport={"width": 360, "height": 1400}, color_scheme=scheme).new_page()
    sign_in(page, people)
    page.goto("/parts/")
    for menu in ("Log", "Reports", "Set-up"):
        page.locator(".tabs summary", has_text=menu).click()
        assert findings(page, within=".tabs") == []


@pytest.mark.parametrize("path", ["/sign-in/", "/sign-in/a-secret/"])
def test_axe_finds_nothing_before_signing_in(path: str, context_of: MakeContext, people: User) -> None:
    page = context_of(reduced_motion="reduce").new_page()  # a colour in mid-change has no contrast of its own
    page.goto(path)
    assert findings_by_day_and_night(page) == []


@pytest.mark.parametrize("path", PRESS_SIDE)
def test_targets_at_the_press_are_48_pixels_and_8_apart(
    path: str, phone: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    sign_in(phone, User.objects.get(username="owner"))
    visit(phone, path, shop)
    boxes = phone.evaluate(
        """() => [...document.querySelectorAll('a[href], button, summary, select, input:not([type=hidden])')]
            .filter(one => one.tabIndex >= 0 && one.checkVisibility())
            .map(one => one.closest('label') ?? one)
            .map(one => ({words: one.textContent.trim().slice(0, 40), box: one.getBoundingClientRect()}))
            .filter(one => one.box.width > 1)
            .map(({words, box}) => [words, box.left, box.top + scrollY, box.right, box.bottom + scrollY])"""
    )
    small = [box for box in boxes if box[3] - box[1] < 47.9 or box[4] - box[2] < 47.9]
    assert small == []
    in_sight = ("Log a run", "Log work", "Something’s wrong", "Job cards of what is ticked")
    in_flow = [box for box in boxes if box[0] not in in_sight]
    close = [
        (one[0], other[0])
        for number, one in enumerate(in_flow)
        for other in in_flow[number + 1 :]
        if max(other[1] - one[3], one[1] - other[3]) < 7.9 and max(other[2] - one[4], one[2] - other[4]) < 7.9
    ]
    assert close == []


def test_the_two_big_ways_in_stay_in_sight_on_a_phone(
    phone: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    sign_in(phone, User.objects.get(username="owner"))
    phone.goto("/")
    for words in ("Log a run", "Log work"):
        box = phone.get_by_role("navigation", name="Log").get_by_role("link", name=words).bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= 740
        assert box["height"] >= 60


def test_a_keyboard_reaches_the_page_by_the_skip_link_and_sees_where_it_is(
    page: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    sign_in(page, User.objects.get(username="owner"))
    page.goto("/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the page"
    assert page.evaluate("getComputedStyle(document.activeElement).outlineWidth") == "3px"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


def test_everything_works_without_javascript(
    context_of: MakeContext, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    page = context_of(java_script_enabled=False).new_page()
    sign_in(page, User.objects.get(username="owner"))
    page.goto("/due/")
    page.locator(".job summary").first.click()
    page.get_by_label("Print with others").first.check()
    page.get_by_role("button", name="Job cards of what is ticked").click()
    expect(page).to_have_title(re.compile("Job card"))
    expect(page.get_by_role("row", name="wall isolator Q1").first).to_be_visible()
    page.get_by_text("Set-up").click()
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_job_card_prints_on_one_sheet(
    paper: str, page: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    sign_in(page, User.objects.get(username="owner"))
    page.goto(address("/due/card/?item={card}", shop))
    sheets = len(re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper)))
    assert sheets == 1
    page.emulate_media(media="print")
    assert not page.get_by_role("navigation", name="Pages").is_visible()
    assert page.get_by_role("note", name="WARNING").is_visible()


def test_the_jobs_of_the_day_print_on_one_sheet_with_the_whole_caution_of_each_press_in_eight_points(
    page: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    sign_in(page, User.objects.get(username="owner"))
    page.goto("/")
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format="A4", prefer_css_page_size=True))) == 1
    page.emulate_media(media="print")
    frames = page.locator(".press-frame")
    assert frames.count() >= 2
    for frame in frames.all():
        steps = frame.get_by_text("Before you open or reach into anything")
        assert steps.count() == 1
        assert steps.is_visible()
        sizes = frame.locator(".caution-text, .caution-lead, .isolation-points li").evaluate_all(
            "found => found.map(one => parseFloat(getComputedStyle(one).fontSize) * 72 / 96)"
        )
        assert min(sizes) >= 7.99
        assert frame.locator(".job").count() == frame.locator(".job-rail").count() >= 1


def test_paper_shows_what_is_folded_on_the_screen(
    page: Page, sign_in: Callable[[Page, User], None], shop: LookMill
) -> None:
    sign_in(page, User.objects.get(username="owner"))
    page.goto("/")
    steps = page.get_by_text("Before you open or reach into anything").first
    assert not steps.is_visible()
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert steps.is_visible()
