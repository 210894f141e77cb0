"""What is remembered and stored of due items is what the whole log, read anew, says."""

from __future__ import annotations

import random
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import TypeVar

import pytest
from django.core.management import call_command
from django.utils import translation

from tests.dates import at
from tests.examples import bounded
from tests.mills.logbook_mill import SmallMill, a_small_mill, vienna_mill
from wearlog.equipment.models import Fitting, Part, Position
from wearlog.forecasts import tasks
from wearlog.forecasts.board import items_of
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory import queries, refresh, snapshots
from wearlog.forecasts.models import ForecastSnapshot
from wearlog.history import cache, log, versions
from wearlog.history.record import record_as_of
from wearlog.lockout.models import EnergySource
from wearlog.logbook import actions
from wearlog.logbook.entries import NewIncident, NewMeasurement, NewRun, NewWork
from wearlog.people.refusals import AlreadyMoved, Doubtful, Refused
from wearlog.runs.models import Run
from wearlog.service.models import Measurement, Rule

NOW = at("2026-03-30 18:00")
TODAY = date(2026, 3, 30)
EARLIER = date(2026, 3, 17)
EVERY_DOUBT = (
    "more_hours_than_clock",
    "meter_went_back",
    "twice_the_rate",
    "half_the_rate",
    "unit_looks_wrong",
    "overlaps_gap",
    "in_the_future",
    "large_step",
)

AnyRow = TypeVar("AnyRow")


@pytest.fixture
def mill(transactional_db: None) -> SmallMill:
    vienna_mill()
    mill = a_small_mill(None)
    EnergySource.objects.create(press=mill.press, source="mains", kind="electrical", isolate_at="wall switch")
    for values in (
        {"code": "die at limit", "action": "flip", "kind": "die", "at_limit": True, "lead_days": 7},
        {"code": "screw at limit", "action": "replace", "kind": "screw", "at_limit": True},
        {"code": "look at screw", "action": "inspect", "kind": "screw", "every_h": 40, "every_kg": 3000},
        {"code": "after flax", "action": "clean", "after_crop": mill.flax},
        {"code": "grease", "action": "lubricate", "every_days": 10},
        {"code": "after metal", "action": "inspect", "kind": "screw", "after_incident": "metal"},
        {"code": "output", "action": "inspect", "on_drift": True},
    ):
        Rule.objects.create(**values)
    versions.touch()
    return mill


def from_scratch(as_of: date) -> list[DueItem]:
    return items_of(record_as_of(log.load_log_uncached(), as_of))


def entries(mill: SmallMill, chance: random.Random) -> list[Callable[[], object]]:
    """One of each kind of entry, at a day and a place that chance picks."""
    begun = at("2026-03-02 06:00") + timedelta(hours=chance.randrange(0, 27 * 24, 2))
    press = chance.choice([mill.press, mill.twin, mill.other])
    crop = chance.choice([mill.rape, mill.flax])
    part = chance.choice([mill.die, mill.spare_die, mill.screw, mill.other_screw, mill.spare_screw])
    place = chance.choice(list(Position.objects.all()))

    def one_of(rows: list[AnyRow]) -> AnyRow:
        if not rows:
            raise Refused("There is nothing yet to choose from.")
        return chance.choice(rows)

    def run() -> object:
        entry = NewRun(
            press_id=press.pk,
            crop_id=crop.pk,
            seed_kg=Decimal(chance.randint(200, 600)),
            started_at=begun,
            ended_at=begun + timedelta(hours=1.5),
        )
        return actions.log_run(by=None, at=NOW, entry=entry, confirmed=EVERY_DOUBT)

    def gauge() -> object:
        is_die = part.part_type.kind == "die"
        value = chance.uniform(5.0, 5.5) if is_die else chance.uniform(58.3, 60)
        return actions.log_measurement(
            by=None,
            at=NOW,
            part_id=part.pk,
            edge=chance.choice("AB") if is_die else "",
            measured_at=begun,
            measurement=NewMeasurement(value_mm=Decimal(f"{value:.3f}")),
            confirmed=EVERY_DOUBT,
        )

    def move() -> object:
        now = Fitting.objects.open().filter(position=place).first()
        kind = Part.objects.filter(part_type__kind=place.kind, retired_on=None)
        return actions.replace(
            by=None,
            at=NOW,
            position_id=place.pk,
            expected_fitting_id=now.pk if now else None,
            new_part_id=chance.choice(list(kind)).pk,
            new_edge=chance.choice("AB") if place.kind == "die" else "",
            moved_at=max(begun, now.fitted_at + timedelta(hours=1)) if now else begun,
            old_part_retired_because=chance.choice(["", "", "worn"]),
        )

    def correct() -> object:
        old = one_of(list(Run.objects.not_voided()))
        changes = {"seed_kg": Decimal(chance.randint(100, 700)), "press_id": press.pk}
        return actions.correct(
            by=None, at=NOW, record=old, changes=changes, reason="misread", confirmed=EVERY_DOUBT
        )

    def strike_out() -> object:
        rows = [*Run.objects.not_voided(), *Measurement.objects.not_voided()]
        return actions.void(by=None, at=NOW, record=one_of(rows), reason="entered twice")

    return [
        run,
        run,
        gauge,
        gauge,
        move,
        correct,
        strike_out,
        lambda: actions.log_work(
            by=None,
            at=NOW,
            entry=NewWork(press_id=press.pk, action=chance.choice(["inspect", "lubricate"]), done_at=begun),
        ),
        lambda: actions.report_incident(
            by=None, at=NOW, entry=NewIncident(press_id=press.pk, kind="metal", happened_at=begun)
        ),
        lambda: actions.log_reading(
            by=None,
            at=NOW,
            press_id=press.pk,
            read_at=begun,
            meter_h=Decimal(chance.randint(100, 900)),
            confirmed=EVERY_DOUBT,
        ),
    ]


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
        assert queries.due_items(as_of=TODAY) == said
        assert queries.due_items(as_of=EARLIER) == from_scratch(EARLIER)
    assert taken >= 10


def tasks_at(now: datetime) -> None:
    refresh.refresh(at=now, press_ids=refresh.changed(at=now))


def test_stored_items_are_read_back_to_the_last_digit(mill: SmallMill) -> None:
    mill.run("2026-03-05 06:00", "2026-03-05 14:00", 1234)
    refresh.refresh(at=NOW)
    stored = snapshots.stored(number=versions.current(), as_of=TODAY, language="en")
    assert stored is not None
    assert list(queries.merged(stored)) == from_scratch(TODAY)


def test_a_process_that_starts_reads_what_is_stored_and_not_the_log(mill: SmallMill) -> None:
    refresh.refresh(at=NOW)
    cache.clear_all()
    queries.due_items(as_of=TODAY)
    assert len(log._ROWS) == 0


def test_an_entry_at_one_press_leaves_the_other_presses_items_as_they_are(mill: SmallMill) -> None:
    refresh.refresh(at=NOW)
    mill.run("2026-03-05 06:00", "2026-03-05 14:00", 400)
    assert refresh.stale(at=NOW) == sorted([mill.press.pk, mill.twin.pk, mill.other.pk])
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
    assert tasks.refresh_press(mill.press.pk) is False
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
    number = versions.current()
    assert snapshots.stored(number=number, as_of=TODAY, language="en") is not None
    with translation.override("de"):
        assert snapshots.stored(number=number, as_of=TODAY, language="de") is None
        assert queries.due_items(as_of=TODAY) == from_scratch(TODAY)
