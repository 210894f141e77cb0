"""What reports look like on the sheet that a browser prints."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, ViewportSize

from tests.browser.program import SignIn
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from tests.web.printing.pdf_reader import Paper
from wearlog.people.models import User

REPORTS = """/compare/ /compare/?by=crop /compare/with/ /costs/ /order/ /season/ /worth/ /worth/pays/
/worth/work/ /parts/{die}/life/ /parts/{screw}/stop/ /due/ /plan/ /records/runs/ /records/lives/ /presses/
/track-record/"""
LINKED = """() => [...document.querySelectorAll('main :is(td, th, li, dd) a[href]')]
    .filter(one => one.checkVisibility() && one.textContent.trim())
    .filter(one => !one.closest('.links, .no-print, nav, .buttons, .filters, thead, .button'))
    .map(one => one.innerText.trim())"""
"""The words of the links that name a thing or a figure, as they are on the screen."""
A4: ViewportSize = {"width": 688, "height": 900}
"""What the margins of a sheet leave: 182 mm at 96 pixels to an inch."""
TOO_WIDE = """() => [...document.querySelectorAll('main table')].filter(one => one.checkVisibility())
    .filter(one => one.getBoundingClientRect().width > (one.matches('.many') ? 1047 : 688))
    .map(one => one.caption?.innerText ?? one.innerText.slice(0, 40))"""
"""Tables that a sheet would cut. One of many columns lies across the sheet, of which 277 mm are left then."""


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


def printed(page: Page) -> Paper:
    return Paper(page.pdf(format="A4", prefer_css_page_size=True, print_background=False))


def bare(words: str) -> str:
    return "".join(words.split()).casefold()


def wrong_on_paper(page: Page, path: str) -> Iterator[str]:
    """Linked names that are seen on the screen alone, and tables that the edge of the sheet cuts."""
    names = page.evaluate(LINKED)
    on_paper = bare(" ".join(printed(page).words))
    for name in names:
        if bare(name) not in on_paper:
            yield f"{path}: {name} is not on paper"
    desk = page.viewport_size
    assert desk is not None
    page.set_viewport_size(A4)
    page.emulate_media(media="print")
    for table in page.evaluate(TOO_WIDE):
        yield f"{path}: the table {table} is cut"
    page.emulate_media(media="screen")
    page.set_viewport_size(desk)


def test_linked_names_and_figures_stay_on_paper_and_nothing_is_cut_at_its_edge(
    page: Page, sign_in: SignIn, shop: LookMill
) -> None:
    sign_in(page, User.objects.get(username="owner"))
    found: list[str] = []
    for path in REPORTS.split():
        answer = page.goto(path.format(die=shop.die.pk, screw=shop.screw.pk))
        assert answer is not None
        assert answer.status == 200, path
        found += wrong_on_paper(page, path)
    assert found == [], "\n".join(found)


def test_names_that_vanish_and_a_table_that_is_cut_are_found(
    page: Page, sign_in: SignIn, shop: LookMill
) -> None:
    sign_in(page, User.objects.get(username="owner"))
    page.goto("/compare/")
    assert list(wrong_on_paper(page, "")) == []
    page.evaluate("document.querySelectorAll('main .many').forEach(one => one.classList.remove('many'))")
    assert any("is cut" in words for words in wrong_on_paper(page, ""))
    page.goto("/records/runs/")
    assert list(wrong_on_paper(page, "")) == []
    vanish = "document.querySelectorAll('main td a, main th a').forEach(one => one.remove())"
    page.evaluate(f"window.addEventListener('beforeprint', () => {{ {vanish} }})")
    assert any("is not on paper" in words for words in wrong_on_paper(page, ""))


def test_the_sums_of_a_long_table_stand_once_below_it_and_its_heading_on_every_sheet(
    page: Page, sign_in: SignIn, shop: LookMill
) -> None:
    sign_in(page, User.objects.get(username="owner"))
    page.goto("/compare/")
    page.evaluate(
        """() => { const rows = document.querySelector('main table tfoot').closest('table').tBodies[0];
                   const row = rows.rows[0];
                   for (let number = 0; number < 150; number += 1) rows.append(row.cloneNode(true)); }"""
    )
    heading = page.locator("main table:has(tfoot) thead th").first.inner_text()
    paper = printed(page)
    assert sum(heading in words for words in paper.words) >= 3
    assert " ".join(paper.words).count("All together") == 1
