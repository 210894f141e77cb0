"""The first page: what is due and why, who runs what, what the last shift left."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from tests.web.press_frames import frames_in, job_with, jobs_in
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


def frame_of(page: str, press: str) -> str:
    """The frame of a press: its caution and its jobs."""
    return next((frame for frame in frames_in(page) if f">{press}</a></h2" in frame), "")


def test_what_is_overdue_stands_with_its_press_its_reason_and_its_way_to_be_logged(
    shop: LookMill, read: Callable[[], str]
) -> None:
    job = job_with(frame_of(read(), "North press"), "Inspect screw S-01")
    assert "Overdue" in job
    assert "30 days" in job  # the rule's interval, in the sentence that says why
    fitting = shop.screw.fittings.get().pk
    assert (
        f"press={shop.north.pk}&amp;action=inspect&amp;rule={shop.look_rule.pk}&amp;fitting={fitting}" in job
    )
    assert f"/due/card/?item={shop.look_rule.pk}.{shop.north.pk}." in job


def test_work_that_ends_a_life_leads_an_owner_to_when_to_stop_the_part(
    shop: LookMill, read: Callable[[], str], client: Client, operator: User
) -> None:
    address = f'href="/parts/{shop.die.pk}/stop/"'
    assert address in job_with(read(), "Flip die")
    assert "/stop/" not in job_with(read(), "Inspect screw S-01")
    client.force_login(operator)
    assert "/stop/" not in read()


def test_the_state_is_said_in_words(shop: LookMill, read: Callable[[], str]) -> None:
    job = job_with(read(), "Inspect screw S-01")
    assert re.search(r'aria-hidden="true"[^>]*>.{0,80}</svg> <strong>Overdue</strong>', job)


def test_a_worn_die_is_due_with_its_strip(shop: LookMill, read: Callable[[], str]) -> None:
    job = job_with(frame_of(read(), "North press"), "Flip die D5-01, edge A")
    assert "New 5.00 mm, limit 5.40 mm. Gauged 5.39 mm" in job
    assert '>Done<span class="unseen">: Flip die D5-01, edge A · North press</span>' in job


def test_each_press_has_one_caution_with_its_points_above_all_its_jobs(
    shop: LookMill, read: Callable[[], str]
) -> None:
    page = read()
    frames = frames_in(page)
    assert len(frames) >= 2
    for frame in frames:
        assert frame.count('aria-label="WARNING"') == 1
        assert frame.index('aria-label="WARNING"') < frame.index('<li class="job')
        assert "Before you open or reach into anything" in frame
    north = frame_of(page, "North press")
    assert north.count('<li class="job') > 1
    assert "isolate at wall isolator Q1" in north
    assert "isolate at heater plug H1" in north
    twin = frame_of(page, "Twin press")
    assert "No isolation points are recorded for this press" in twin
    assert "Points to lock: not described yet" in twin


def test_each_job_says_how_many_points_to_lock_first(shop: LookMill, read: Callable[[], str]) -> None:
    page = read()
    points = shop.north.energy_sources.count()
    for job in jobs_in(frame_of(page, "North press")):
        assert f'<span class="unseen">{points} points to lock first</span>' in job
    for job in jobs_in(frame_of(page, "Twin press")):
        assert '<span class="unseen">Points to lock: not described yet</span>' in job


def test_the_press_says_what_it_is_doing(shop: LookMill, read: Callable[[], str]) -> None:
    shop.running()
    assert "<p>rapeseed, lot 31</p>" in frame_of(read(), "Twin press")


def test_work_that_was_done_leaves_the_page(shop: LookMill, read: Callable[[], str]) -> None:
    assert "Overdue" in job_with(read(), "Inspect screw S-01")
    Service.objects.create(
        ref="done",
        done_at=shop.now - timedelta(minutes=1),
        press=shop.north,
        position=shop.screw_place,
        part=shop.screw,
        action="inspect",
        rule=shop.look_rule,
    )
    assert job_with(read(), "Inspect screw S-01") == ""


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


def test_the_three_ways_in_are_links_to_the_forms(shop: LookMill, read: Callable[[], str]) -> None:
    bar = re.search(r'<nav class="ways-in".*?</nav>', read())
    assert bar is not None
    assert 'href="/log/run/"' in bar.group(0)
    assert 'href="/log/work/"' in bar.group(0)
    assert 'href="/log/incident/"' in bar.group(0)


def test_a_viewer_sees_the_day_without_ways_to_log(shop: LookMill, client: Client, mill: Mill) -> None:
    shop.running()
    client.force_login(User.objects.create_user("v", role="viewer"))
    page = re.sub(r"\s+", " ", client.get("/").content.decode())
    assert job_with(frame_of(page, "North press"), "Inspect screw S-01")
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
