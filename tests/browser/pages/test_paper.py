"""What reports look like on the sheet that a browser prints."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page

from tests.browser.narrow import add_style
from tests.browser.program import SignIn
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from tests.web.printing.pdf_reader import DPI, Paper, ink
from wearlog.people.models import User

REPORTS = """/compare/ /compare/?by=week /compare/with/ /costs/ /order/ /season/ /worth/ /worth/pays/
/worth/work/ /parts/{die}/life/ /parts/{screw}/stop/ /due/ /plan/ /records/runs/ /records/lives/ /presses/
/track-record/"""
LINKED = """() => [...document.querySelectorAll('main :is(td, th, li, dd) a[href]')]
    .filter(one => one.checkVisibility() && one.textContent.trim())
    .filter(one => !one.closest('.links, .no-print, nav, .buttons, .filters, thead, .button'))
    .map(one => one.innerText.trim())"""
"""The words of the links that name a thing or a figure, as they are on the screen."""
EDGE_PT = 10 / 25.4 * DPI
"""The narrowest margin of any of our sheets: nothing is printed there."""


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    return whole_mill()


def printed(page: Page) -> Paper:
    return Paper(page.pdf(format="A4", prefer_css_page_size=True, print_background=False))


def bare(words: str) -> str:
    return "".join(words.split()).casefold()


def wrong_on_paper(page: Page, path: str) -> Iterator[str]:
    names = page.evaluate(LINKED)
    paper = printed(page)
    on_paper = bare(" ".join(paper.words))
    for name in names:
        if bare(name) not in on_paper:
            yield f"{path}: {name} is not on paper"
    for sheet, (width, _height) in zip(paper.pictures(dpi=DPI), paper.sizes, strict=True):
        left, _upper, right, _lower = ink(sheet)
        if left < EDGE_PT - 1 or right > width - EDGE_PT + 1:
            yield f"{path}: something is printed in a margin, from {left} to {right} of {width} points"


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
    assert found == []


def test_names_that_vanish_on_paper_and_ink_in_a_margin_are_found(
    page: Page, sign_in: SignIn, shop: LookMill
) -> None:
    sign_in(page, User.objects.get(username="owner"))
    page.goto("/parts/")
    assert list(wrong_on_paper(page, "/parts/")) == []
    add_style(page, "@media print { main li a { visibility: hidden } }")
    assert "is not on paper" in " ".join(wrong_on_paper(page, "/parts/"))
    add_style(page, "@media print { main { position: relative; inset-inline-start: -12mm } }")
    assert "something is printed in a margin" in " ".join(wrong_on_paper(page, "/parts/"))


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
    with_rows = [
        words for words in paper.words if words.count("All together") or bare(heading) in bare(words)
    ]
    assert len(with_rows) >= 3
    assert " ".join(paper.words).count("All together") == 1
