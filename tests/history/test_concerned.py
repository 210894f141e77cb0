"""What a write concerns: what it leaves as it was need not be read or learned again."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest

from tests.mills.logbook_mill import SmallMill, a_small_mill, vienna_mill
from tests.mills.random_entries import NOW, add_rules
from wearlog.equipment.models import Part, PartType
from wearlog.forecasts.memory import queries
from wearlog.history import versions
from wearlog.history.concerned import change_of
from wearlog.history.log import load_log
from wearlog.history.record import record_as_of
from wearlog.logbook import actions
from wearlog.people.models import AuditEntry
from wearlog.runs.models import PlanEntry
from wearlog.service.models import Rule

TODAY = date(2026, 3, 30)


@pytest.fixture
def mill(transactional_db: None) -> SmallMill:
    vienna_mill()
    mill = a_small_mill(None)
    add_rules(mill)
    versions.touch()
    return mill


def save(mill: SmallMill, what: str) -> None:
    rule = Rule.objects.get(code="grease")
    rule.every_days = Decimal(17)
    days = {"start_on": TODAY, "end_on": TODAY + timedelta(days=9)}
    things = {
        "a rule": rule,
        "a plan": PlanEntry(press=mill.press, crop=mill.flax, seed_kg=Decimal(900), **days),
        "a spare": Part(code="N1", part_type=mill.die.part_type),
    }
    actions.save_thing(by=None, at=NOW, thing=things[what])


@pytest.mark.parametrize("what", ["a rule", "a plan", "a spare"])
def test_what_is_asked_of_all_presses_leaves_their_runs_and_what_was_learned(
    mill: SmallMill, what: str
) -> None:
    before = versions.latest()
    save(mill, what)
    now = versions.latest()
    assert {press: of.runs for press, of in now.presses.items()} == {
        press: of.runs for press, of in before.presses.items()
    }
    assert now.lessons == before.lessons
    assert all(now.items_since(press) == now.number for press in now.every_press)


@pytest.mark.parametrize("what", ["a rule", "a plan", "a spare"])
def test_hours_and_edges_are_carried_on_where_only_what_is_asked_has_changed(
    mill: SmallMill, what: str
) -> None:
    before = queries.forecast_of_day(as_of=TODAY)
    known = dict(before.edges.used)
    hours = dict(before.ground.record.hours)
    save(mill, what)
    now = queries.forecast_of_day(as_of=TODAY)
    assert now.ground is not before.ground
    assert now.ground.record.rules is not before.ground.record.rules
    assert all(now.edges.used[key] is edge for key, edge in known.items())
    assert all(now.ground.record.hours[press] is of for press, of in hours.items())


def test_another_limit_of_a_type_carries_nothing_on(mill: SmallMill) -> None:
    before = queries.forecast_of_day(as_of=TODAY)
    known = dict(before.edges.used)
    assert known
    kind = PartType.objects.get(pk=mill.die.part_type_id)
    kind.limit_mm = Decimal("5.9")
    actions.save_thing(by=None, at=NOW, thing=kind)
    now = queries.forecast_of_day(as_of=TODAY)
    assert now.ground.record.types[kind.pk].limit_mm == 5.9
    assert not any(now.edges.used[key] is edge for key, edge in known.items())


def test_a_rule_saved_together_with_a_part_in_use_concerns_both(mill: SmallMill) -> None:
    rows = [
        AuditEntry(record="rule", action="change", old={}, new={}),
        AuditEntry(record="part", record_id=mill.die.pk, action="change", old={}, new={}),
    ]
    change = change_of(rows)
    assert change is not None
    assert change.setup
    assert change.lessons
    assert mill.press.pk in change.items


def test_a_run_entered_while_a_record_is_carried_on_does_not_part_runs_from_their_hours(
    mill: SmallMill,
) -> None:
    mill.run("2026-03-02 06:00", "2026-03-02 14:00")
    log = load_log()
    before = record_as_of(log, TODAY)
    assert before.press_hours(mill.press.pk).size
    save(mill, "a rule")
    later = load_log()
    # Runs are read when they are first asked for: here after one more was entered.
    mill.run("2026-03-03 06:00", "2026-03-03 14:00")
    now = record_as_of(later, TODAY, (log, before))
    runs = now.runs[mill.press.pk]
    assert now.press_hours(mill.press.pk).size == runs.start.size
    assert now.run_hours(mill.press.pk).size == runs.start.size
