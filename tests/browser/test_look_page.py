"""The page that shows every part of the look: all states of all parts in one walk, and developers' alone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from django.conf import settings as site
from django.test import Client
from playwright.sync_api import Page, expect
from pytest_django import Settings

from tests.browser.axe import findings_by_day_and_night
from tests.browser.controls import GLOVE, controls, too_small
from tests.browser.narrow import add_style
from tests.browser.program import MakeContext
from wearlog.people.models import Mill, User

WEB = Path(site.ROOT) / "wearlog" / "web"
SignIn = Callable[[Page, User], None]


@pytest.fixture
def owner(fresh_log: None, settings: Settings) -> User:
    settings.DEBUG = True
    Mill.objects.create(name="Hillside mill", time_zone="Europe/Vienna", currency="EUR", units="metric")
    return User.objects.create_user("owner", name="Olga", role="owner")


def test_whoever_is_no_developer_does_not_find_it(fresh_log: None) -> None:
    Mill.objects.create(name="Hillside mill", time_zone="Europe/Vienna", currency="EUR", units="metric")
    client = Client()
    client.force_login(User.objects.create_user("owner", name="Olga", role="owner"))
    assert client.get("/look/").status_code == 404


@pytest.mark.parametrize("width", [320, 768, 1280])
def test_no_part_of_the_look_has_findings_or_goes_sideways(
    width: int, context_of: MakeContext, sign_in: SignIn, owner: User
) -> None:
    page = context_of(
        viewport={"width": width, "height": 800},
        reduced_motion="reduce",
    ).new_page()
    sign_in(page, owner)
    page.goto("/look/")
    expect(page.get_by_role("heading", level=1)).to_have_text("The look")
    assert page.locator(".job").count() == 5
    assert {
        page.locator(f".job.{state}").count() for state in ("overdue", "due", "coming", "unknown", "later")
    } == {1}
    for word in ("DANGER", "WARNING", "CAUTION"):
        assert page.locator(".caution-word strong", has_text=word).count() >= 2, word
    for opened in (False, True):
        if opened:
            page.evaluate("document.querySelectorAll('main details').forEach(fold => { fold.open = true })")
        assert findings_by_day_and_night(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    add_style(page, "html { font-size: 225% !important }")
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_its_controls_fit_a_glove(phone: Page, sign_in: SignIn, owner: User) -> None:
    sign_in(phone, owner)
    phone.goto("/look/")
    expect(phone.get_by_role("heading", level=1)).to_have_text("The look")
    assert too_small([one for one in controls(phone) if not one.in_text], GLOVE) == []


def test_without_colour_states_are_told_apart_by_word_and_mark(
    context_of: MakeContext, sign_in: SignIn, owner: User
) -> None:
    page = context_of(forced_colors="active").new_page()
    sign_in(page, owner)
    page.goto("/look/")
    seen = [
        (state.locator("strong").inner_text().lower(), state.locator("svg.mark").inner_html())
        for state in page.locator(".job-state").all()
    ]
    assert [words for words, _mark in seen] == ["overdue", "due", "coming up", "can't tell yet", "later"]
    assert len({mark for _words, mark in seen}) == 5


def test_forced_colours_leave_every_panel_and_button_its_border(
    context_of: MakeContext, sign_in: SignIn, owner: User
) -> None:
    page = context_of(forced_colors="active").new_page()
    sign_in(page, owner)
    page.goto("/look/")
    expect(page.get_by_role("heading", level=1)).to_have_text("The look")
    bare = page.evaluate(
        """() => [...document.querySelectorAll(
            ':not(.press-frame) > .caution, .press-frame, ' +
            '.slip, .alert, .hold, .errors, .button:not(.unseen), button, input')]
          .filter(one => one.checkVisibility() && !['checkbox', 'radio'].includes(one.type))
          .filter(one => getComputedStyle(one).borderTopWidth === '0px' ||
            getComputedStyle(one).borderTopColor === getComputedStyle(document.body).backgroundColor)
          .map(one => one.outerHTML.slice(0, 80))"""
    )
    assert bare == []


def test_forced_colours_leave_words_on_a_dark_ground_readable(
    context_of: MakeContext, sign_in: SignIn, owner: User
) -> None:
    # A browser puts a patch of the page's colour behind words there, which hides those of the same colour.
    page = context_of(forced_colors="active").new_page()
    sign_in(page, owner)
    page.goto("/look/")
    expect(page.get_by_role("heading", level=1)).to_have_text("The look")
    assert page.locator(".caution-word").count() > 0
    hidden = page.evaluate(
        """() => [...document.querySelectorAll('body *')]
          .filter(one => [...one.childNodes].some(text => text.nodeType === 3 && text.data.trim()))
          .filter(one => one.checkVisibility())
          .map(one => [one, getComputedStyle(one)])
          .filter(([one, style]) => style.forcedColorAdjust === 'auto' && !one.closest('svg') &&
            style.color === getComputedStyle(document.body).backgroundColor)
          .map(([one]) => one.outerHTML.slice(0, 80))"""
    )
    assert hidden == []


FOLDER = WEB / "site" / "templates" / "web" / "site" / "parts"
ELSEWHERE = {
    "press_frame": "drawn by the tag `press_frame`, which is there",
    "job_line": "drawn within `press_frame`",
    "typing_banner": "drawn by the tag `typing_banner` while old runs are typed up",
    "behind": "one sentence, of mills with many presses (`test_waiting.py`)",
    "parted": "links to the parts of a list of more than 25 presses (`test_presses_in_parts.py`)",
    "due_item": "a task alone on its page (`test_cards.py`)",
    "mark_names": "shows nothing: hidden inputs of a form",
    "kept": "empty until a script of the queue fills it, which the tests of that look at",
    "photos": "needs files in the data folder; looked at on the page of a record",
    "marks": "looked at with the marks of a task (`test_marks.py`)",
    "backup_state": "looked at on the page of files and backups",
}
"""Parts that are not on this page, and why."""
PARTS = [
    *sorted(f"web/site/parts/{path.name}" for path in FOLDER.glob("*.html") if path.stem not in ELSEWHERE),
    "web/site/field/field.html",
    "web/drawing/press.html",
]


@pytest.mark.parametrize("file", PARTS)
def test_it_is_made_of_the_parts_that_other_pages_are_made_of(file: str) -> None:
    look = WEB / "look" / "templates" / "web" / "look" / "look.html"
    assert f'"{file}"' in look.read_text() + (WEB / "machines" / "tables.py").read_text()
    users = [path for path in (*WEB.rglob("*.html"), *WEB.rglob("*.py")) if path.name != "look.html"]
    assert any(f'"{file}"' in path.read_text() for path in users)
