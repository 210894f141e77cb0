"""The page of a press that is opened: one stop for all that falls due in its coming campaign."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests.mills.look_mill import LookMill
from wearlog.people.models import Mill
from wearlog.runs.models import PlanEntry
from wearlog.service.models import Rule, Service
from wearlog.web.site.codes import Code

Read = Callable[..., str]


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    """North's die is nearly at its limit and its screw overdue for a look; it is greased every 5,000 h."""
    return LookMill(timezone.now())


def bare(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def links(page: str) -> list[str]:
    return [link.replace("&amp;", "&") for link in re.findall(r'href="([^"]+)"', page)]


def test_all_that_falls_due_stands_on_one_page_with_what_to_bring_and_its_caution(
    shop: LookMill, read: Read
) -> None:
    words = bare(read(f"/presses/{shop.north.pk}/open/"))
    assert "2 jobs in one stop, 2 with the head off." in words
    assert "Inspect screw S-01 · North press" in words
    assert "Flip die D5-01, edge A · North press" in words
    assert "a micrometer, and chalk to number the flights" in words
    assert "spanners for the head, a soft drift" in words
    # Once for the press before everything, and once with each of the two tasks.
    assert words.count("WARNING") == 3
    assert words.index("WARNING") < words.index("Bring, for all of it")
    assert "wall isolator Q1" in words


def test_without_a_plan_the_page_says_so_and_a_number_of_days_can_be_chosen(
    shop: LookMill, read: Read
) -> None:
    page = bare(read(f"/presses/{shop.north.pk}/open/"))
    assert "Looked ahead 30 days" in page
    assert "No plan lies ahead for this press, so it is a number of days from today." in page
    assert "at its recent pace" in page
    assert "Looked ahead 14 days" in bare(read(f"/presses/{shop.north.pk}/open/?days=14"))


@pytest.mark.parametrize("nonsense", ["", "many", "-3", "9" * 40, "٣x"])
def test_a_number_of_days_that_is_none_is_passed_over(shop: LookMill, read: Read, nonsense: str) -> None:
    assert "Looked ahead 30 days" in bare(read(f"/presses/{shop.north.pk}/open/?days={nonsense}"))


def test_looking_further_ahead_lists_what_comes_later(shop: LookMill, read: Read) -> None:
    """600 h are run at 10 h a day; a grease rule of 1,000 h comes about 40 days from now."""
    Rule.objects.filter(pk=shop.grease_rule.pk).update(every_h=1000)
    near, far = (bare(read(f"/presses/{shop.north.pk}/open/?days={days}")) for days in (14, 90))
    assert "Lubricate North press" not in near
    assert "Lubricate North press" in far
    assert "The head can stay on; lock out all the same." in far


def test_along_the_plan_the_page_names_crop_and_end_and_what_ends_it(shop: LookMill, read: Read) -> None:
    today = timezone.localdate()
    for start, end in ((0, 20), (60, 70)):
        PlanEntry.objects.create(
            press=shop.north,
            crop=shop.rape,
            start_on=today + timedelta(days=start),
            end_on=today + timedelta(days=end),
            seed_kg=9000,
        )
    words = bare(read(f"/presses/{shop.north.pk}/open/"))
    assert "Coming campaign: rapeseed," in words
    assert "for more than two weeks after it nothing is planned" in words
    assert "You chose the number of days" in bare(read(f"/presses/{shop.north.pk}/open/?days=7"))


def test_one_button_prints_the_cards_of_all_tasks_of_the_stop(shop: LookMill, read: Read) -> None:
    page = read(f"/presses/{shop.north.pk}/open/")
    cards = next(link for link in links(page) if link.startswith("/due/card/") and link.count("item=") > 1)
    assert len(parse_qs(urlsplit(cards).query)["item"]) == 2
    printed = bare(read(cards))
    assert "D5-01" in printed
    assert "S-01" in printed


def test_work_logged_from_the_stop_leads_back_to_it(shop: LookMill, read: Read, client: Client) -> None:
    here = f"/presses/{shop.north.pk}/open/"
    form = next(
        link
        for link in links(read(here))
        if link.startswith("/log/work/") and "action=inspect" in link and "rule=" in link
    )
    assert "Due or overdue today." in bare(read(here))
    asked = parse_qs(urlsplit(form).query)
    assert asked["next"] == [here]
    answer = client.post(
        "/log/work/",
        {
            "ref": "p-stop", "press": shop.north.pk, "fitting": asked["fitting"][0], "action": "inspect",
            "rule": shop.look_rule.pk, "position": shop.screw_place.pk, "next": here, "release_stated": "on",
        },
        follow=True,
    )  # fmt: skip
    assert answer.redirect_chain[-1][0] == here
    assert Service.objects.get(ref="p-stop").rule == shop.look_rule
    assert "Due or overdue today." not in bare(answer.content.decode())


def test_press_scan_work_form_and_the_slip_of_work_inside_lead_to_the_stop(
    shop: LookMill, read: Read
) -> None:
    here = f"/presses/{shop.north.pk}/open/"
    for path in (
        f"/presses/{shop.north.pk}/",
        f"/scan/{Code('press', shop.north.pk)}/",
        f"/log/work/?press={shop.north.pk}&fitting={shop.die_fitting.pk}&action=polish",
        f"/log/work/?press={shop.north.pk}",
        "/due/",
    ):
        assert here in links(read(path)), path


def test_a_slip_of_work_that_leaves_the_head_on_has_no_such_link(shop: LookMill, read: Read) -> None:
    Rule.objects.exclude(pk=shop.grease_rule.pk).delete()
    Rule.objects.update(every_h=500)
    page = read("/due/")
    assert "Lubricate North press" in bare(page)
    assert f"/presses/{shop.north.pk}/open/" not in links(page)


def test_a_press_on_which_nothing_falls_due_still_has_its_caution(shop: LookMill, read: Read) -> None:
    Rule.objects.all().delete()
    words = bare(read(f"/presses/{shop.north.pk}/open/"))
    assert "By the log, nothing falls due in this time." in words
    assert "WARNING" in words


def test_the_page_asks_the_database_no_more_than_thirty_times(
    shop: LookMill, read: Read, client: Client
) -> None:
    read(f"/presses/{shop.north.pk}/open/")
    with CaptureQueriesContext(connection) as asked:
        read(f"/presses/{shop.north.pk}/open/")
    assert len(asked) <= 30


def test_a_press_that_is_not_there_is_not_found(shop: LookMill, read: Read) -> None:
    read("/presses/999/open/", status=404)
