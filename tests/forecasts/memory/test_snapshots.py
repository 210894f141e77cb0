"""What is remembered and stored of due items is what the whole log, read anew, says."""

from __future__ import annotations

import random
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.utils import translation

from tests.dates import at
from tests.examples import bounded
from tests.mills.logbook_mill import SmallMill, a_small_mill, vienna_mill
from tests.mills.random_entries import EVERY_DOUBT, NOW, add_rules, entries
from wearlog.equipment.models import Part
from wearlog.forecasts import tasks
from wearlog.forecasts.board import in_order, items_of
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory import queries, refresh, snapshots
from wearlog.forecasts.models import ForecastSnapshot
from wearlog.history import cache, log, versions
from wearlog.history.record import record_as_of
from wearlog.lockout.models import EnergySource
from wearlog.logbook import actions
from wearlog.logbook.entries import NewMeasurement
from wearlog.people.refusals import AlreadyMoved, Doubtful, Refused
from wearlog.service.models import Rule

TODAY = date(2026, 3, 30)
EARLIER = date(2026, 3, 17)


@pytest.fixture
def mill(transactional_db: None) -> SmallMill:
    vienna_mill()
    mill = a_small_mill(None)
    EnergySource.objects.create(press=mill.press, source="mains", kind="electrical", isolate_at="wall switch")
    add_rules(mill)
    versions.touch()
    return mill


def from_scratch(as_of: date) -> list[DueItem]:
    return items_of(record_as_of(log.load_log_uncached(), as_of))


@pytest.mark.parametrize("seed", range(bounded(6, 3)))
def test_after_any_entry_all_memories_say_what_the_log_read_anew_says(mill: SmallMill, seed: int) -> None:
    chance = random.Random(seed)
    taken = 0
    for turn in range(24):
        before = versions.current()
        with suppress(Refused, Doubtful, AlreadyMoved):
            chance.choice(entries(mill, chance))()
        if versions.current() == before:
            continue
        taken += 1
        said = from_scratch(TODAY)
        if turn % 3 == 0:  # a worker may come before or after the next page, or an entry later
            tasks_at(NOW)
            cache.clear_all()
        elif turn % 3 == 1:  # or each of several workers takes one press, after one of them has learned
            if turn % 2:
                refresh.learn(at=NOW)
            for press in (mill.press, mill.twin, mill.other):
                cache.clear_all()
                refresh.refresh(at=NOW, press_ids=[press.pk])
            cache.clear_all()
        assert queries.due_items(as_of=TODAY) == said
        assert queries.due_items(as_of=EARLIER) == from_scratch(EARLIER)
    assert taken >= 10


def tasks_at(now: datetime) -> None:
    refresh.refresh(at=now, press_ids=refresh.changed(at=now))


def test_stored_items_are_read_back_to_the_last_digit(mill: SmallMill) -> None:
    mill.run("2026-03-05 06:00", "2026-03-05 14:00", 1234)
    refresh.refresh(at=NOW)
    presses = [mill.press.pk, mill.twin.pk, mill.other.pk]
    stored = snapshots.stored(press_ids=presses, as_of=TODAY, language="en")
    assert {number for number, _ in stored.values()} == {versions.current()}
    assert list(
        queries.with_their_cautions(in_order(item for _, items in stored.values() for item in items))
    ) == from_scratch(TODAY)


def test_a_process_that_starts_reads_what_is_stored_and_not_the_log(mill: SmallMill) -> None:
    refresh.refresh(at=NOW)
    cache.clear_all()
    queries.due_items(as_of=TODAY)
    assert len(log._LOG) == 0


def test_an_entry_at_one_press_leaves_the_other_presses_items_as_they_are(mill: SmallMill) -> None:
    refresh.refresh(at=NOW)
    mill.run("2026-03-05 06:00", "2026-03-05 14:00", 400)
    assert refresh.stale(at=NOW) == [mill.press.pk]
    assert refresh.changed(at=NOW) == [mill.press.pk]
    assert refresh.stale(at=NOW) == [mill.press.pk]
    refresh.refresh(at=NOW, press_ids=[mill.press.pk])
    assert refresh.stale(at=NOW) == []


def test_a_late_entry_where_a_part_worked_before_reaches_the_press_that_it_is_on_now(mill: SmallMill) -> None:
    mill.run("2026-03-02 06:00", "2026-03-02 14:00", press_id=mill.other.pk)
    actions.swap(
        by=None,
        at=NOW,
        first_fitting_id=mill.screw_fitting.pk,
        second_fitting_id=mill.other_screw_fitting.pk,
        moved_at=at("2026-03-10 06:00"),
    )
    refresh.refresh(at=NOW)
    mill.run("2026-03-05 06:00", "2026-03-05 14:00", press_id=mill.other.pk)
    assert refresh.changed(at=NOW) == sorted([mill.press.pk, mill.other.pk])
    tasks_at(NOW)
    look = {"press_id": mill.other.pk, "part_id": mill.other_screw.pk}
    mill.work("inspect", "2026-03-06 06:00", **look)
    assert mill.press.pk in refresh.changed(at=NOW)
    tasks_at(NOW)
    cache.clear_all()
    assert queries.due_items(as_of=TODAY) == from_scratch(TODAY)


def test_an_entry_that_comes_during_a_refresh_leaves_it_stale(
    mill: SmallMill, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep = snapshots.keep

    def slow(**values: object) -> None:
        monkeypatch.setattr(snapshots, "keep", keep)
        mill.run("2026-03-05 06:00", "2026-03-05 14:00", 400)
        keep(**values)  # type: ignore[arg-type]

    monkeypatch.setattr(snapshots, "keep", slow)
    refresh.refresh(at=NOW)
    assert refresh.stale(at=NOW) != []
    assert queries.due_items(as_of=TODAY) == from_scratch(TODAY)
    tasks_at(NOW)
    cache.clear_all()
    assert queries.due_items(as_of=TODAY) == from_scratch(TODAY)


def test_what_an_older_round_worked_out_never_replaces_a_newer_rounds(mill: SmallMill) -> None:
    refresh.refresh(at=NOW)
    row = ForecastSnapshot.objects.first()
    assert row is not None
    snapshots.keep(
        press_id=row.press_id,
        as_of=TODAY,
        language="en",
        number=row.log_version - 1,
        fingerprint="older",
        items=[],
        at=NOW,
    )
    row.refresh_from_db()
    assert row.fingerprint != "older"
    assert row.items


def test_a_caution_is_never_older_than_the_isolation_points(mill: SmallMill) -> None:
    refresh.refresh(at=NOW)
    source = EnergySource.objects.get()
    source.isolate_at = "new switch by the door"
    actions.save_thing(by=None, at=NOW, thing=source)
    tasks_at(NOW)
    cache.clear_all()
    item = next(item for item in queries.due_items(as_of=TODAY) if item.press == "P1")
    assert "new switch by the door" in item.caution.isolation_points[0]


def test_a_new_press_and_a_new_rule_are_stored_too(mill: SmallMill) -> None:
    refresh.refresh(at=NOW)
    actions.save_thing(by=None, at=NOW, thing=Rule(code="belt", action="adjust", every_days=Decimal(5)))
    tasks_at(NOW)
    cache.clear_all()
    belts = [item.press for item in queries.due_items(as_of=TODAY) if item.rule == "belt"]
    assert sorted(belts) == ["P1", "P2", "P3"]


def test_a_second_delivery_of_a_task_does_nothing(mill: SmallMill) -> None:
    tasks.refresh_changed()
    rows = list(ForecastSnapshot.objects.order_by("pk").values())
    assert rows
    assert tasks.refresh_changed() == 0
    assert tasks.refresh_press([mill.press.pk]) == tasks.refresh_press(mill.press.pk) == 0
    assert list(ForecastSnapshot.objects.order_by("pk").values()) == rows


def test_yesterdays_items_are_thrown_away(mill: SmallMill) -> None:
    refresh.refresh(at=NOW)
    refresh.refresh(at=NOW + timedelta(days=1))
    assert set(ForecastSnapshot.objects.values_list("as_of", flat=True)) == {TODAY + timedelta(days=1)}


def test_the_command_works_everything_out_anew(mill: SmallMill, capsys: pytest.CaptureFixture[str]) -> None:
    tasks.refresh_changed()
    ForecastSnapshot.objects.update(items=[])
    cache.clear_all()
    call_command("refresh_forecasts")
    today = datetime.now(UTC).date()
    assert "of 3 presses stored" in capsys.readouterr().out
    cache.clear_all()
    assert queries.due_items(as_of=today) == from_scratch(today)


def test_each_language_has_its_own_items(mill: SmallMill) -> None:
    refresh.refresh(at=NOW)
    presses = [mill.press.pk]
    assert snapshots.stored(press_ids=presses, as_of=TODAY, language="en") != {}
    with translation.override("de"):
        assert snapshots.stored(press_ids=presses, as_of=TODAY, language="de") == {}
        assert queries.due_items(as_of=TODAY) == from_scratch(TODAY)


def test_a_run_from_before_the_day_on_which_earlier_work_stood_changes_what_an_older_gauge_teaches(
    mill: SmallMill,
) -> None:
    """The run is taken off the earlier work, and so lies behind a gauge that was read before it."""
    part = Part.objects.get(pk=mill.die.pk)
    part.used_kg, part.used_on = Decimal(9000), date(2026, 3, 20)
    actions.save_thing(by=None, at=NOW, thing=part)
    actions.log_measurement(
        by=None,
        at=NOW,
        part_id=part.pk,
        edge="A",
        measured_at=at("2026-03-03 05:00"),
        measurement=NewMeasurement(value_mm=Decimal("5.2")),
        confirmed=EVERY_DOUBT,
    )
    queries.due_items(as_of=TODAY)
    mill.run("2026-03-10 06:00", "2026-03-10 14:00", 4000)
    assert queries.due_items(as_of=TODAY) == from_scratch(TODAY)
