"""The first page: what is due and why, who runs what, what the last shift left."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from wearlog.people.models import Mill, User
from wearlog.service.models import Incident, Service


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


@pytest.fixture
def read(client: Client, owner: User) -> Callable[[], str]:
    """The day page as the owner sees it, spaces made single."""
    client.force_login(owner)
    return lambda: re.sub(r"\s+", " ", client.get("/").content.decode())


def section(page: str, heading: str) -> str:
    """The part of the page under a heading of the second rank."""
    found = re.search(rf"<h2[^>]*>{heading}.*?(?=<h2|<details class=\"fold|$)", page)
    return found.group(0) if found else ""


def test_what_is_overdue_stands_with_its_reason_and_its_way_to_be_logged(
    shop: LookMill, read: Callable[[], str]
) -> None:
    overdue = section(read(), "Overdue")
    assert "Inspect screw S-01 · North press" in overdue
    assert "30 days" in overdue  # the rule's interval, in the sentence that says why
    fitting = shop.screw.fittings.get().pk
    assert (
        f"press={shop.north.pk}&amp;action=inspect&amp;rule={shop.look_rule.pk}&amp;fitting={fitting}"
        in overdue
    )
    assert f"/due/card/?item={shop.look_rule.pk}.{shop.north.pk}." in overdue


def test_the_state_is_said_in_words(shop: LookMill, read: Callable[[], str]) -> None:
    assert re.search(r'aria-hidden="true"[^>]*>.{0,80}</svg> Overdue</p>', read())


def test_a_worn_die_is_due_with_its_strip(shop: LookMill, read: Callable[[], str]) -> None:
    page = read()
    found = re.search(
        r"<article[^>]*>(?:(?!</article>).)*Flip die D5-01, edge A · North press.*?</article>", page
    )
    assert found is not None
    slip = found.group(0)
    assert "New 5.00 mm, limit 5.40 mm. Gauged 5.39 mm" in slip
    assert ">Flipped<" in slip


def test_every_task_carries_its_caution_and_the_isolation_points_of_its_press(
    shop: LookMill, read: Callable[[], str]
) -> None:
    articles = re.findall(r"<article.*?</article>", read())
    assert articles
    for article in articles:
        assert 'aria-label="WARNING"' in article
        assert "Before you open or reach into anything" in article
        if "North press" in article:
            assert "isolate at wall isolator Q1" in article
            assert "isolate at heater plug H1" in article
        else:
            assert "No isolation points are recorded for this press" in article


def test_work_that_was_done_leaves_the_page(shop: LookMill, read: Callable[[], str]) -> None:
    assert "Inspect screw S-01" in section(read(), "Overdue")
    Service.objects.create(
        ref="done",
        done_at=shop.now - timedelta(minutes=1),
        press=shop.north,
        position=shop.screw_place,
        part=shop.screw,
        action="inspect",
        rule=shop.look_rule,
    )
    assert "Inspect screw S-01 · North press" not in section(read(), "Overdue")


def test_the_note_of_the_last_shift_is_there_and_an_old_one_is_not(
    shop: LookMill, read: Callable[[], str]
) -> None:
    shop.note("Lot 31 is dusty.", hours_ago=9)
    shop.note("Harvest was wet.", hours_ago=24 * 9)
    page = read()
    assert "Lot 31 is dusty." in page
    assert "Mira" in page
    assert "Harvest was wet." not in page


def test_who_runs_what_has_a_way_to_end_it(shop: LookMill, read: Callable[[], str]) -> None:
    run = shop.running()
    running = section(read(), "Running now")
    assert "Twin press" in running
    assert "rapeseed, lot 31" in running
    assert f'href="/log/run/{run.pk}/stop/"' in running


def test_a_held_lot_stands_first_until_somebody_releases_it(shop: LookMill, read: Callable[[], str]) -> None:
    hold = shop.hold()
    page = read()
    assert page.index("On hold: oil and cake of lot 30.") < page.index("<h2")
    assert "A bolt in the magnet." in page
    assert f'href="/lots/{hold.pk}/release/"' in page
    hold.released_at, hold.released_by, hold.reason = shop.now, "Olga", "sieved and looked through"
    hold.save()
    assert "On hold" not in read()


def test_a_lot_whose_incident_was_struck_out_is_not_held(shop: LookMill, read: Callable[[], str]) -> None:
    shop.hold()
    Incident.objects.update(voided_at=shop.now, void_reason="wrong press")
    assert "On hold" not in read()


def test_only_a_maintainer_sees_the_button_that_releases(
    shop: LookMill, client: Client, operator: User
) -> None:
    shop.hold()
    client.force_login(operator)
    page = client.get("/").content.decode()
    assert "On hold: oil and cake of lot 30." in page
    assert "Release this lot" not in page


def test_the_two_ways_in_are_links_to_the_forms(shop: LookMill, read: Callable[[], str]) -> None:
    bar = re.search(r'<nav class="ways-in".*?</nav>', read())
    assert bar is not None
    assert 'href="/log/run/"' in bar.group(0)
    assert 'href="/log/work/"' in bar.group(0)


def test_a_viewer_sees_the_day_without_ways_to_log(shop: LookMill, client: Client, mill: Mill) -> None:
    shop.running()
    client.force_login(User.objects.create_user("v", role="viewer"))
    page = client.get("/").content.decode()
    assert "Inspect screw S-01 · North press" in page
    assert "/log/run/" not in page
    assert "/log/work/" not in page
    assert "/log/note/" not in page


def test_an_empty_mill_says_that_nothing_is_due_to_those_who_do_not_set_it_up(
    client: Client, operator: User, mill: Mill, read: Callable[[], str]
) -> None:
    assert "No rule has come up today." not in read()
    client.force_login(operator)
    assert "No rule has come up today." in client.get("/").content.decode()


def test_the_day_is_the_mills_and_not_the_servers(
    client: Client, owner: User, mill: Mill, monkeypatch: pytest.MonkeyPatch
) -> None:
    """23:30 UTC on 3 March is half past midnight on the 4th in Vienna."""
    moment = timezone.datetime(2026, 3, 3, 23, 30, tzinfo=timezone.get_fixed_timezone(0))  # type: ignore[attr-defined]
    monkeypatch.setattr(timezone, "now", lambda: moment)
    client.force_login(owner)
    assert '<time datetime="2026-03-04">Wed 4 Mar</time>' in client.get("/").content.decode()


def test_what_people_wrote_is_shown_as_text(shop: LookMill, read: Callable[[], str]) -> None:
    shop.note("<script>alert(1)</script>")
    assert "&lt;script&gt;alert(1)" in read()


def test_pounds_and_inches_for_whoever_reads_them(shop: LookMill, client: Client, owner: User) -> None:
    owner.units = "us"
    owner.save()
    client.force_login(owner)
    page = client.get("/").content.decode()
    assert "limit 0.2126 in" in page  # 5.40 mm / 25.4
    assert "limit 5.40 mm" not in page


def test_thirty_one_queries_are_enough_the_whole_log_among_them(
    shop: LookMill, client: Client, owner: User, django_assert_max_num_queries: Callable[..., object]
) -> None:
    shop.running()
    shop.note()
    shop.hold()
    client.force_login(owner)
    # Within a transaction nothing is remembered, so this reads the whole log.
    with django_assert_max_num_queries(31):  # type: ignore[attr-defined]
        client.get("/")
