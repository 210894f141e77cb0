"""Two phones at once, with real threads on a real database: a file for SQLite, a server for PostgreSQL."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from tests.at_once import ROUNDS, at_once
from tests.dates import at
from tests.mills.logbook_mill import NOW, SmallMill, a_small_mill, somebody, vienna_mill
from wearlog.equipment.models import Fitting
from wearlog.history import versions
from wearlog.logbook import actions
from wearlog.logbook.entries import NewIncident, NewRun, NewWork
from wearlog.people import signin
from wearlog.people.models import Role, User
from wearlog.people.refusals import AlreadyMoved, Refused
from wearlog.runs.models import Run
from wearlog.service.models import LotHold, Service

pytestmark = pytest.mark.django_db(transaction=True)

MOVED = at("2026-03-09 10:00")


@pytest.fixture
def mill(shared: None) -> SmallMill:
    vienna_mill()
    return a_small_mill(User.objects.create_user("owner", name="Olga", role=Role.OWNER))


def one_of_each(results: list[Any], refusal: type[Exception]) -> tuple[Any, Any]:
    """The one result and the one refusal."""
    won = [each for each in results if not isinstance(each, Exception)]
    lost = [each for each in results if isinstance(each, refusal)]
    assert (len(won), len(lost)) == (1, len(results) - 1), results
    return won[0], lost[0]


@pytest.mark.parametrize("number", range(ROUNDS))
def test_two_phones_that_flip_one_die_give_one_flip_and_one_refusal(mill: SmallMill, number: int) -> None:
    people = [somebody(Role.OPERATOR, name) for name in ("oskar", "otto")]

    def flip(by: User) -> Callable[[], Fitting]:
        return lambda: actions.flip(by=by, at=NOW, expected_fitting_id=mill.die_fitting.pk, moved_at=MOVED)

    won, lost = one_of_each(at_once(*(flip(by) for by in people)), AlreadyMoved)
    assert won.entered_by in people
    assert f"already flipped to edge B by {won.entered_by.name} on 9 March 2026, 11:00" in lost.message
    edges = Fitting.objects.not_voided().filter(part=mill.die).order_by("fitted_at")
    assert [(each.edge, each.removed_at) for each in edges] == [("A", MOVED), ("B", None)]


@pytest.mark.parametrize("number", range(ROUNDS))
def test_two_phones_that_log_the_flip_as_work_give_one_record(mill: SmallMill, number: int) -> None:
    def log(ref: str) -> Callable[[], Service]:
        entry = NewWork(
            press_id=mill.press.pk,
            action="flip",
            done_at=MOVED,
            expected_fitting_id=mill.die_fitting.pk,
            ref=ref,
        )
        return lambda: actions.log_work(by=mill.by, at=NOW, entry=entry)

    one_of_each(at_once(log("phone-1"), log("phone-2")), AlreadyMoved)
    assert Service.objects.count() == 1
    assert Fitting.objects.not_voided().filter(part=mill.die).count() == 2


@pytest.mark.parametrize("number", range(ROUNDS))
def test_one_entry_replayed_by_four_threads_is_one_record_for_all(mill: SmallMill, number: int) -> None:
    entry = NewWork(
        press_id=mill.press.pk,
        action="flip",
        done_at=MOVED,
        expected_fitting_id=mill.die_fitting.pk,
        ref="phone-1",
    )
    results = at_once(*[lambda: actions.log_work(by=mill.by, at=NOW, entry=entry)] * 4)
    assert {each.pk for each in results} == {Service.objects.get().pk}
    assert Fitting.objects.not_voided().filter(part=mill.die).count() == 2


@pytest.mark.parametrize("number", range(ROUNDS))
def test_one_ref_on_two_presses_is_one_run_and_one_refusal(mill: SmallMill, number: int) -> None:
    def log(press_id: int) -> Callable[[], Run]:
        entry = NewRun(
            press_id=press_id,
            crop_id=mill.rape.pk,
            seed_kg=Decimal(400),
            started_at=at("2026-03-09 06:00"),
            ended_at=at("2026-03-09 14:00"),
            ref="same",
        )
        return lambda: actions.log_run(by=mill.by, at=NOW, entry=entry)

    _, lost = one_of_each(at_once(log(mill.press.pk), log(mill.other.pk)), Refused)
    assert "stored before, with other content" in lost.message


@pytest.mark.parametrize("number", range(ROUNDS))
def test_two_runs_for_the_same_hours_give_one_run_and_one_refusal(mill: SmallMill, number: int) -> None:
    def log(minutes: int) -> Callable[[], Run]:
        start = at("2026-03-09 06:00") + timedelta(minutes=minutes)
        entry = NewRun(
            press_id=mill.press.pk,
            crop_id=mill.rape.pk,
            seed_kg=Decimal(400),
            started_at=start,
            ended_at=start + timedelta(hours=8),
        )
        return lambda: actions.log_run(by=mill.by, at=NOW, entry=entry)

    _, lost = one_of_each(at_once(log(0), log(20)), Refused)
    assert "was already pressing" in lost.message


@pytest.mark.parametrize("number", range(ROUNDS))
def test_a_spare_that_two_people_fit_at_once_goes_on_one_press(mill: SmallMill, number: int) -> None:
    place = mill.other.positions.create(name="die", kind="die")

    def fit(position_id: int, expected: int | None) -> Callable[[], Fitting]:
        return lambda: actions.replace(
            by=mill.by,
            at=NOW,
            position_id=position_id,
            expected_fitting_id=expected,
            new_part_id=mill.spare_die.pk,
            new_edge="A",
            moved_at=MOVED,
        )

    won, lost = one_of_each(
        at_once(fit(mill.die_place.pk, mill.die_fitting.pk), fit(place.pk, None)), AlreadyMoved
    )
    assert f"D-2 sits on {won.position} since" in lost.message
    mill.die_fitting.refresh_from_db()
    assert (mill.die_fitting.removed_at is None) is (won.position_id == place.pk)


@pytest.mark.parametrize("number", range(ROUNDS))
def test_crossing_swaps_and_moves_neither_hang_nor_lose_a_part(mill: SmallMill, number: int) -> None:
    first, second = mill.screw_fitting.pk, mill.other_screw_fitting.pk

    def swap(one: int, other: int) -> Callable[[], object]:
        return lambda: actions.swap(
            by=mill.by, at=NOW, first_fitting_id=one, second_fitting_id=other, moved_at=MOVED
        )

    one_of_each(at_once(swap(first, second), swap(second, first)), AlreadyMoved)
    sits = {each.part_id: each.position_id for each in Fitting.objects.open()}
    assert (sits[mill.screw.pk], sits[mill.other_screw.pk]) == (
        mill.other_screw_place.pk,
        mill.screw_place.pk,
    )


@pytest.mark.parametrize("number", range(ROUNDS))
def test_a_run_stopped_by_two_people_ends_once(mill: SmallMill, number: int) -> None:
    run = mill.log(started_at=at("2026-03-09 06:00"), seed_kg=Decimal(0))

    def stop(hour: int) -> Callable[[], Run]:
        return lambda: actions.stop_run(
            by=mill.by,
            at=NOW,
            run_id=run.pk,
            ended_at=at(f"2026-03-09 {hour}:00"),
            seed_kg=Decimal(400),
        )

    _, lost = one_of_each(at_once(stop(14), stop(15)), Refused)
    assert "already ended" in lost.message


def test_a_sign_in_link_clicked_four_times_at_once_signs_in_once(mill: SmallMill) -> None:
    owner = User.objects.get(username="owner")
    secret = signin.make_link(user=owner, at=NOW)
    one_of_each(at_once(*[lambda: signin.spend(secret=secret, at=NOW)] * 4), Refused)


def test_a_lot_is_released_once(mill: SmallMill) -> None:
    actions.report_incident(
        by=mill.by, at=NOW, entry=NewIncident(press_id=mill.press.pk, kind="metal", happened_at=NOW)
    )
    hold = LotHold.objects.get()

    def release(name: str) -> Callable[[], LotHold]:
        return lambda: actions.release_lot(
            by=mill.by, at=NOW, hold_id=hold.pk, released_by=name, reason="sieved"
        )

    won, lost = one_of_each(at_once(release("Olga"), release("Otto")), Refused)
    assert f"already released by {won.released_by}" in lost.message


def test_two_owners_who_switch_each_other_off_leave_one(mill: SmallMill) -> None:
    pair = [User.objects.get(username="owner"), somebody(Role.OWNER, "second")]

    def switch_off(by: User, other: User) -> Callable[[], User]:
        def call() -> User:
            user = User.objects.get(pk=other.pk)
            user.is_active = False
            return actions.save_person(by=by, at=NOW, user=user)

        return call

    one_of_each(at_once(switch_off(pair[0], pair[1]), switch_off(pair[1], pair[0])), Refused)
    assert User.objects.filter(role=Role.OWNER, is_active=True).count() == 1


def test_thirty_entries_from_three_phones_are_thirty_versions_and_thirty_runs(mill: SmallMill) -> None:
    before = versions.current()

    def log(day: int) -> None:
        for hour in range(10):
            start = at(f"2026-03-0{day} 06:00") + timedelta(hours=hour)
            mill.run(
                f"{start:%Y-%m-%d %H:%M}",
                f"{start + timedelta(minutes=50):%Y-%m-%d %H:%M}",
                40,
                ref=f"{day}-{hour}",
            )

    results = at_once(*(lambda day=day: log(day) for day in (3, 4, 5)))
    assert results == [None, None, None]
    assert Run.objects.count() == 30
    assert versions.current() == before + 30
