"""Pages about many presses may lag behind a gauge for a moment, and say so; all else never does."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.test import Client

from tests.mills import large_mill
from wearlog.equipment.models import Fitting, Press
from wearlog.forecasts.board import items_of
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory import queries, refresh, waiting
from wearlog.history import cache, log
from wearlog.history.record import record_as_of
from wearlog.logbook import actions
from wearlog.logbook.entries import NewMeasurement
from wearlog.people.models import Role, User

NOW = datetime(2017, 7, 20, 12, 0, tzinfo=UTC)
TODAY = NOW.date()
MANY = waiting.FEW + 3


@pytest.fixture
def presses(transactional_db: None) -> list[Press]:
    """More presses than a page works out at once; a worker has just been there."""
    return mill_of(MANY)


def mill_of(count: int) -> list[Press]:
    large_mill.build(presses=count, years=1, runs=count * 40, parts=count * 5)
    refresh.refresh(at=NOW)
    return list(Press.objects.order_by("pk"))


def gauge(press: Press) -> None:
    """A reading that teaches all presses that their dies wear faster than was thought."""
    die = Fitting.objects.open().get(position__press=press, part__part_type__kind="die")
    actions.log_measurement(
        by=None,
        at=NOW,
        part_id=die.part_id,
        edge=die.edge,
        measured_at=NOW,
        measurement=NewMeasurement(value_mm=Decimal("5.38")),
        confirmed=("large_step",),
    )


def anew() -> list[DueItem]:
    return items_of(record_as_of(log.load_log_uncached(), TODAY))


def fleet() -> tuple[list[DueItem], int]:
    found = queries.items_of_fleet(as_of=TODAY)
    return queries.with_their_cautions(found.items), found.behind


def of(items: list[DueItem], press: Press) -> list[DueItem]:
    return [item for item in items if item.press_id == press.pk]


def test_after_a_gauge_other_presses_show_their_last_dates_and_how_many_do(presses: list[Press]) -> None:
    before, behind = fleet()
    assert (before, behind) == (anew(), 0)
    gauge(presses[0])
    shown, behind = fleet()
    assert behind == MANY - 1
    assert of(shown, presses[0]) == of(anew(), presses[0]) != of(before, presses[0])
    for press in presses[1:]:
        assert of(shown, press) == of(before, press)
    assert any(of(before, press) != of(anew(), press) for press in presses[1:])


def test_whoever_needs_exact_dates_gets_them_at_once(presses: list[Press]) -> None:
    fleet()
    gauge(presses[0])
    assert queries.due_items(as_of=TODAY) == anew()
    assert queries.items_of_press(presses[3].pk, as_of=TODAY) == of(anew(), presses[3])


def test_a_worker_ends_the_waiting(presses: list[Press]) -> None:
    fleet()
    gauge(presses[0])
    assert fleet()[1] == MANY - 1
    refresh.refresh(at=NOW)
    assert fleet() == (anew(), 0)


def test_without_a_worker_the_waiting_ends_by_itself(
    presses: list[Press], monkeypatch: pytest.MonkeyPatch
) -> None:
    fleet()
    gauge(presses[0])
    assert fleet()[1] == MANY - 1
    monkeypatch.setattr(waiting, "LONGEST_S", 0.0)
    assert fleet() == (anew(), 0)


def test_gauge_after_gauge_does_not_prolong_the_waiting(
    presses: list[Press], monkeypatch: pytest.MonkeyPatch
) -> None:
    now = 1000.0
    monkeypatch.setattr(waiting.time, "monotonic", lambda: now)
    fleet()
    for press, minute in ((presses[0], 1), (presses[1], 2), (presses[2], 3)):
        gauge(press)
        fleet()
        now = 1000.0 + 60.0 * minute
    # The first gauge was met three minutes ago, so that it must have been taken in by now.
    assert waiting.tolerated(10**9) > 0
    shown, behind = fleet()
    assert behind == 0
    assert shown == anew()


def test_an_entry_at_a_press_itself_is_never_waited_for(presses: list[Press]) -> None:
    fleet()
    for press in presses:
        gauge(press)
    assert fleet() == (anew(), 0)


def test_a_few_presses_are_worked_out_at_once(transactional_db: None) -> None:
    few = mill_of(waiting.FEW + 1)
    fleet()
    gauge(few[0])
    assert fleet() == (anew(), 0)


def test_a_process_that_has_just_started_waits_for_the_worker_too(presses: list[Press]) -> None:
    gauge(presses[0])
    cache.clear_all()
    assert fleet()[1] == MANY - 1


@pytest.mark.parametrize("path", ["/", "/presses/", "/due/?state=all", "/parts/"])
def test_each_page_about_the_fleet_says_that_it_lags(path: str, presses: list[Press], client: Client) -> None:
    client.force_login(User.objects.create_user("owner", name="Olga", role=Role.OWNER))
    client.get(path)  # of another day than these items: stores those of today
    refresh.refresh(at=datetime.now(UTC))
    said = "take in yet what the last gauges or services taught"
    assert said not in client.get(path).content.decode()
    gauge(presses[0])
    assert said in client.get(path).content.decode()
    refresh.refresh(at=datetime.now(UTC))
    assert said not in client.get(path).content.decode()
