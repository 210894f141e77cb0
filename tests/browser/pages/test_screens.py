"""How far somebody with a phone has to scroll, in screens of 360 x 740 pixels."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from tests.browser.screens import SCREEN, screens
from tests.mills.look_mill import LookMill
from tests.mills.whole_mill import whole_mill
from wearlog.people.models import User
from wearlog.service.models import Rule

SignIn = Callable[[Page, User], None]


@pytest.fixture
def shop(fresh_log: None) -> LookMill:
    """Six jobs on two presses, one of them a twin."""
    shop = whole_mill()
    for number in range(3):
        Rule.objects.create(code=f"look {number}", action="clean", press=shop.north, every_days=1)
    return shop


def test_six_jobs_of_the_day_take_at_most_two_and_a_half_screens(
    phone: Page, sign_in: SignIn, shop: LookMill
) -> None:
    sign_in(phone, User.objects.get())
    phone.goto("/")
    jobs = phone.locator(".press-frame .job")
    assert jobs.count() >= 6
    bottoms = phone.evaluate(
        """[...document.querySelectorAll('.press-frame .job')]
           .map(one => one.getBoundingClientRect().bottom)
           .map(y => y - document.querySelector('.beside').getBoundingClientRect().top)"""
    )
    # Held lots, open locks and notes of the last shift come before the jobs and are not counted.
    assert sorted(bottoms)[5] / SCREEN <= 2.6


def test_the_line_of_a_job_is_two_ruled_lines_high(phone: Page, sign_in: SignIn, shop: LookMill) -> None:
    sign_in(phone, User.objects.get())
    phone.goto("/")
    heights = phone.evaluate(
        "[...document.querySelectorAll('.job')].map(one => one.getBoundingClientRect().height)"
    )
    assert min(heights) >= 63.5
    assert sorted(heights)[len(heights) // 2] <= 90  # a long name takes a third line


@pytest.mark.parametrize(
    ("path", "most"),
    [
        ("/presses/{north}/", 5),
        ("/presses/{twin}/", 5),
        ("/due/", 8),
        ("/parts/", 6),
        ("/", 5),
        ("/compare/", 6),
    ],
)
def test_a_page_takes_so_many_screens_at_most(
    path: str, most: float, phone: Page, sign_in: SignIn, shop: LookMill
) -> None:
    sign_in(phone, User.objects.get())
    phone.goto(path.format(north=shop.north.pk, twin=shop.twin.pk))
    assert screens(phone) <= most


def test_the_three_ways_in_are_in_sight_at_once(phone: Page, sign_in: SignIn, shop: LookMill) -> None:
    sign_in(phone, User.objects.get())
    for path in ("/", f"/presses/{shop.north.pk}/", "/presses/"):
        phone.goto(path)
        for words in ("Log a run", "Log work", "Something’s wrong"):
            box = phone.get_by_role("link", name=words, exact=True).last.bounding_box()
            assert box is not None
            assert 0 <= box["y"] <= SCREEN - box["height"], (path, words)
