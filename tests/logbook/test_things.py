"""Saving reference records: what the log already says stays true."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.db import models

from tests.dates import at
from tests.mills.logbook_mill import NOW, SmallMill, small_mill, somebody
from wearlog.equipment.models import Part, PartType, Position, Press
from wearlog.lockout.models import EnergySource
from wearlog.logbook import actions
from wearlog.people.models import AuditEntry, Mill, Role, User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.runs.models import Crop, PlanEntry, Price, Run
from wearlog.service.models import Rule

__all__ = ["small_mill"]


def save(mill: SmallMill, thing: models.Model, *, by: User | None = None) -> models.Model:
    return actions.save_thing(by=by or mill.by, at=NOW, thing=thing)


def test_a_change_leaves_old_and_new_and_an_unchanged_save_leaves_nothing(small_mill: SmallMill) -> None:
    small_mill.press.name = "Big press"
    save(small_mill, small_mill.press)
    row = AuditEntry.objects.get(record="press", action="change")
    assert row.old is not None
    assert row.new is not None
    assert (row.old["name"], row.new["name"]) == ("", "Big press")
    rows = AuditEntry.objects.count()
    save(small_mill, Press.objects.get(pk=small_mill.press.pk))
    assert AuditEntry.objects.count() == rows


def test_a_code_that_is_taken_is_refused_by_field(small_mill: SmallMill) -> None:
    with pytest.raises(Refused) as caught:
        save(small_mill, Press(code="P1"))
    assert caught.value.field == "code"


def test_who_may_save_what(small_mill: SmallMill) -> None:
    operator, maintainer = somebody(Role.OPERATOR, "oskar"), somebody(Role.MAINTAINER, "maria")
    with pytest.raises(NotAllowed):
        save(small_mill, Press(code="P9"), by=operator)
    save(small_mill, Press(code="P9"), by=maintainer)
    plan = PlanEntry(
        press=small_mill.press,
        crop=small_mill.rape,
        start_on=date(2026, 4, 1),
        end_on=date(2026, 4, 30),
        seed_kg=Decimal(9000),
    )
    for thing in (plan, Price(item="oil_kg", from_on=date(2026, 1, 1), price=Decimal(2)), Mill.current()):
        with pytest.raises(NotAllowed):
            save(small_mill, thing, by=maintainer)
    save(small_mill, plan)
    actions.remove_plan_entry(by=small_mill.by, at=NOW, entry=plan)
    assert not PlanEntry.objects.exists()
    assert AuditEntry.objects.filter(action="remove", record="planentry").count() == 1


def test_a_part_that_sits_on_a_press_is_not_retired(small_mill: SmallMill) -> None:
    small_mill.die.retired_on, small_mill.die.retired_because = date(2026, 3, 9), "worn"
    with pytest.raises(Refused, match=r"D-1 sits on P1 · die\. Take it off first"):
        save(small_mill, small_mill.die)


def test_a_part_is_not_retired_before_it_came_off(small_mill: SmallMill) -> None:
    actions.take_off(
        by=small_mill.by,
        at=NOW,
        expected_fitting_id=small_mill.die_fitting.pk,
        removed_at=at("2026-03-09 10:00"),
    )
    small_mill.die.retired_on = date(2026, 3, 8)
    with pytest.raises(Refused, match="came off P1 · die only on 9 March 2026"):
        save(small_mill, small_mill.die)
    small_mill.die.retired_on = date(2026, 3, 9)
    save(small_mill, small_mill.die)


def test_a_reason_to_retire_needs_a_day(small_mill: SmallMill) -> None:
    small_mill.spare_die.retired_because = "lost"
    with pytest.raises(Refused, match="Give the day"):
        save(small_mill, small_mill.spare_die)


def test_a_type_keeps_the_edges_that_were_used_and_its_kind(small_mill: SmallMill) -> None:
    kind = small_mill.die.part_type
    kind.edges = 1
    with pytest.raises(Refused, match="D-1 was fitted with edge A"):
        save(small_mill, kind)
    kind.edges = 3
    save(small_mill, kind)
    kind.kind = "screw"
    with pytest.raises(Refused, match="its kind stays"):
        save(small_mill, kind)


def test_a_limit_that_is_the_new_size_is_refused(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="New size and limit are the same"):
        save(small_mill, PartType(code="X", kind="die", new_mm=Decimal(5), limit_mm=Decimal(5)))


def test_a_press_has_no_third_barrel_and_no_space_in_a_barrels_name(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="the third: left, middle, right"):
        save(small_mill, Position(press=small_mill.twin, name="middle", kind="screw", barrel="middle"))
    with pytest.raises(Refused, match="has no space"):
        save(small_mill, Position(press=small_mill.press, name="x", kind="screw", barrel="far left"))


def test_a_barrel_that_runs_name_keeps_its_name_and_slots_follow_a_new_order(small_mill: SmallMill) -> None:
    small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", press_id=small_mill.twin.pk, through="right")
    right = small_mill.twin.positions.get(barrel="right")
    right.barrel = "second"
    with pytest.raises(Refused, match="names the barrel right"):
        save(small_mill, right)
    left = small_mill.twin.positions.get(barrel="left")
    left.barrel = "trailing"
    save(small_mill, left)
    # By name the barrels are now right, trailing: right is the first.
    assert Run.objects.get(press=small_mill.twin).slot == 1


def test_a_position_with_a_history_keeps_press_and_kind(small_mill: SmallMill) -> None:
    small_mill.die_place.kind = "screw"
    with pytest.raises(Refused, match="so its kind stays"):
        save(small_mill, small_mill.die_place)
    place = Position.objects.get(pk=small_mill.die_place.pk)
    place.press = small_mill.other
    with pytest.raises(Refused, match="stays on its press"):
        save(small_mill, place)


def test_a_press_is_not_retired_while_or_before_it_pressed(small_mill: SmallMill) -> None:
    run = small_mill.log(started_at=at("2026-03-10 06:00"))
    small_mill.press.retired_on = date(2026, 4, 1)
    with pytest.raises(Refused, match="still pressing"):
        save(small_mill, small_mill.press)
    actions.void(by=small_mill.by, at=NOW, record=run, reason="x")
    small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    small_mill.press.retired_on = date(2026, 3, 9)
    with pytest.raises(Refused, match="pressed as late as 9 March 2026"):
        save(small_mill, small_mill.press)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "Without a trigger"),
        ({"every_h": Decimal(0)}, "Write a number above 0, up to 1000000 h"),
        ({"after_incident": "metal flood"}, "'flood' is no incident"),
        ({"every_h": Decimal(50), "kind": "screw", "part_type": "die"}, "D5 is a die"),
        ({"every_h": Decimal(50), "press": True, "position": "wheel"}, "no position 'wheel'"),
    ],
)
def test_a_rule_that_can_not_work_is_refused(
    small_mill: SmallMill, values: dict[str, object], words: str
) -> None:
    if "part_type" in values:
        values = {**values, "part_type": small_mill.die.part_type}
    if "press" in values:
        values = {**values, "press": small_mill.press}
    with pytest.raises(Refused, match=words):
        save(small_mill, Rule(code="r", action="clean", **values))
    assert not Rule.objects.exists()


def test_a_plan_that_ends_before_it_begins_and_an_unknown_zone_are_refused(small_mill: SmallMill) -> None:
    plan = PlanEntry(
        press=small_mill.press,
        crop=small_mill.rape,
        start_on=date(2026, 4, 30),
        end_on=date(2026, 4, 1),
        seed_kg=Decimal(1),
    )
    with pytest.raises(Refused, match="lies before the first"):
        save(small_mill, plan)
    mill = Mill.current()
    mill.time_zone = "Middle/Earth"
    with pytest.raises(Refused, match="is no time zone"):
        save(small_mill, mill)


def test_what_the_log_names_is_not_removed(small_mill: SmallMill) -> None:
    small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    for thing in (small_mill.press, small_mill.die, small_mill.rape):
        with pytest.raises(Refused, match="named in the log"):
            actions.remove_thing(by=small_mill.by, at=NOW, thing=thing)
    assert AuditEntry.objects.filter(action="remove").count() == 0
    source = EnergySource.objects.create(press=small_mill.press, source="mains", kind="electrical")
    actions.remove_thing(by=small_mill.by, at=NOW, thing=source)
    actions.remove_thing(by=small_mill.by, at=NOW, thing=small_mill.flax)
    assert (EnergySource.objects.count(), Crop.objects.count()) == (0, 1)


def test_a_crop_tag_with_a_space_is_refused_in_words(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="has no space"):
        save(small_mill, Crop(code="winter rape"))


def test_a_log_record_is_not_saved_as_a_thing(small_mill: SmallMill) -> None:
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    with pytest.raises(TypeError):
        save(small_mill, run)
    with pytest.raises(TypeError):
        actions.remove_thing(by=small_mill.by, at=NOW, thing=Part.objects.first() and run)
