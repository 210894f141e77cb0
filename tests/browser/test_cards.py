"""Cards and codes in a real browser: printed from it, photographed from its screen, opened on the phone."""

from __future__ import annotations

import io
import re
from collections.abc import Callable

import pytest
import zxingcpp
from django.utils import timezone
from PIL import Image
from playwright.sync_api import BrowserContext, Locator, Page, expect

from tests.mills.card_mill import give_points
from tests.mills.look_mill import LookMill
from tests.web.printing.pdf_reader import Paper
from wearlog.people.models import Mill, User
from wearlog.web.site.codes import Code

SignIn = Callable[[Page, User], None]


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    Mill.objects.create(name="Hillside mill", time_zone="Europe/Vienna", currency="EUR", units="metric")
    User.objects.create_user("owner", name="Olga", role="owner")
    return LookMill(timezone.now())


def key(shop: LookMill) -> str:
    return f"{shop.flip_rule.pk}.{shop.north.pk}.{shop.die_place.pk}.{shop.die.pk}.A"


def photographed(code: Locator) -> str:
    """What a reader finds in a picture of the drawing as the screen shows it."""
    (found,) = zxingcpp.read_barcodes(Image.open(io.BytesIO(code.screenshot())))
    return str(found.text)


def test_the_code_of_a_caution_stands_on_paper_alone(page: Page, sign_in: SignIn, shop: LookMill) -> None:
    sign_in(page, User.objects.get())
    for path in ("/", f"/due/card/?item={key(shop)}", f"/presses/{shop.north.pk}/isolation/"):
        page.goto(path)
        seen = {}
        for media in ("screen", "print"):
            page.emulate_media(media=media)
            seen[media] = re.findall(r"\b0-[0-9A-HJKMNP-TV-Z]{5}\b", page.locator("main").inner_text())
        assert seen["screen"] == [], path
        assert seen["print"], path


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
@pytest.mark.parametrize("points", [0, 2, 10])
def test_a_card_printed_from_the_browser_is_one_sheet_too(
    points: int, paper: str, size: tuple[int, int], page: Page, sign_in: SignIn, shop: LookMill
) -> None:
    give_points(shop.north, points)
    sign_in(page, User.objects.get())
    page.goto(f"/due/card/?item={key(shop)}&paper={paper}")
    printed = Paper(page.pdf(prefer_css_page_size=True, print_background=False))
    assert [(round(width / 3), round(height / 3)) for width, height in printed.sizes] == [
        (round(size[0] / 3), round(size[1] / 3))
    ], "to 3 points: a browser counts in pixels"
    (words,) = printed.words
    assert "WARNING" in words
    assert "The screw can start by itself" in words
    assert "6. see that nobody is near" in words
    assert len(printed.codes()) == 1


def test_several_cards_and_long_ones_break_in_the_browser_where_the_pdf_breaks(
    page: Page, sign_in: SignIn, shop: LookMill
) -> None:
    give_points(shop.north, 24, place="in the far corner of the pressing room behind the seed bin")
    sign_in(page, User.objects.get())
    look = f"{shop.look_rule.pk}.{shop.north.pk}.{shop.screw_place.pk}.{shop.screw.pk}.-"
    page.goto(f"/due/card/?item={key(shop)}&item={look}&paper=letter")
    sheets = page.locator("article.card").count()
    printed = Paper(page.pdf(prefer_css_page_size=True, print_background=False))
    assert len(printed.words) == sheets >= 4
    for words in printed.words:
        assert "WARNING" in words
        assert re.search(r"sheet \d of \d", words)


def test_the_code_of_a_card_opens_its_job_on_a_phone(
    page: Page, phone: Page, sign_in: SignIn, shop: LookMill
) -> None:
    owner = User.objects.get()
    sign_in(page, owner)
    page.goto(f"/due/card/?item={key(shop)}")
    address = photographed(page.locator("svg.qr"))
    phone.goto(address)
    expect(phone.get_by_role("heading", name="Sign in")).to_be_visible()
    sign_in(phone, owner)
    phone.goto(address)
    expect(phone.get_by_role("heading", name="Flip die D5-01, edge A · North press")).to_be_visible()
    expect(phone.get_by_role("note", name="WARNING")).to_be_visible()
    phone.get_by_role("link", name=re.compile(r"^Flipped\W+Flip die D5-01")).click()
    expect(phone.locator('input[name="fitting"]')).to_have_value(str(shop.die_fitting.pk))


def test_the_code_of_a_label_opens_the_die_and_one_touch_opens_the_work(
    page: Page, phone: Page, sign_in: SignIn, shop: LookMill
) -> None:
    owner = User.objects.get()
    for each in (page, phone):
        sign_in(each, owner)
    page.goto(f"/labels/?part={shop.die.pk}&size=small")
    phone.goto(photographed(page.locator("svg.qr")))
    expect(phone.get_by_role("heading", level=1)).to_have_text("D5-01")
    for word in ("Flip", "Polish", "Replace", "Measure"):
        button = phone.get_by_role("link", name=f"{word} die", exact=True)
        box = button.bounding_box()
        assert box is not None
        assert box["height"] >= 48
    phone.get_by_role("link", name="Polish die", exact=True).click()
    expect(phone.locator('input[name="action"]')).to_have_value("polish")
    expect(phone.locator('input[name="fitting"]')).to_have_value(str(shop.die_fitting.pk))


def test_a_stamped_code_is_typed_on_the_day_page_without_any_script(
    context_of: Callable[..., BrowserContext], sign_in: SignIn, shop: LookMill
) -> None:
    page = context_of(viewport={"width": 360, "height": 740}, java_script_enabled=False).new_page()
    sign_in(page, User.objects.get())
    page.goto("/")
    code = str(Code("part", shop.die.pk))
    field = page.get_by_label("Code or name on it")
    field.fill(code[:-1] + ("2" if code[-1] != "2" else "3"))
    field.press("Enter")
    expect(page.get_by_text("is misread somewhere")).to_be_visible()
    field = page.get_by_label("Code or name on it")
    field.fill(code.lower())
    field.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("D5-01")


def test_card_and_labels_fit_a_phone(phone: Page, sign_in: SignIn, shop: LookMill) -> None:
    give_points(shop.north, 10)
    sign_in(phone, User.objects.get())
    for path in (f"/due/card/?item={key(shop)}", "/labels/?what=fitted&size=large", "/scan/?code=T3T0"):
        phone.goto(path)
        assert phone.evaluate("document.documentElement.scrollWidth") <= 360, path
