"""Correcting, voiding, taking back: who may, what follows, and that no impossible state is left behind."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from tests.dates import at
from tests.mills.logbook_mill import FITTED, NOW, SmallMill, codes, message, small_mill, somebody
from wearlog.equipment import queries as equipment
from wearlog.equipment.models import Fitting, Part
from wearlog.history import versions
from wearlog.logbook import actions
from wearlog.logbook.entries import NewIncident, NewMeasurement
from wearlog.people.models import AuditEntry, Role
from wearlog.people.refusals import Doubtful, NotAllowed, Refused
from wearlog.runs import hours
from wearlog.runs.models import Reading, Run
from wearlog.service.models import LotHold, Measurement, Service

__all__ = ["small_mill"]

MOVED = at("2026-03-09 10:00")


def chain(mill: SmallMill) -> list[tuple[str, str, object, object]]:
    """Every standing fitting on the die's position: part, edge, from, to."""
    return [
        (each.part.code, each.edge, each.fitted_at, each.removed_at)
        for each in equipment.history_on(mill.die_place)
    ]


def flip(mill: SmallMill, when: str = "2026-03-09 10:00") -> Fitting:
    now = Fitting.objects.open().get(position=mill.die_place)
    return actions.flip(by=mill.by, at=NOW, expected_fitting_id=now.pk, moved_at=at(when))


def replace(mill: SmallMill, when: str = "2026-03-09 10:00", because: str = "") -> Fitting:
    now = Fitting.objects.open().get(position=mill.die_place)
    return actions.replace(
        by=mill.by,
        at=NOW,
        position_id=mill.die_place.pk,
        expected_fitting_id=now.pk,
        new_part_id=mill.spare_die.pk,
        new_edge="A",
        moved_at=at(when),
        old_part_retired_because=because,
    )


# --- runs and readings ------------------------------------------------------------------------------


def test_a_correction_keeps_old_new_and_reason(small_mill: SmallMill) -> None:
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    before = versions.current()
    fixed = actions.correct(
        by=small_mill.by, at=NOW, record=run, changes={"seed_kg": Decimal("380")}, reason="one bag less"
    )
    assert fixed.seed_kg == 380
    row = AuditEntry.objects.get(record="run", action="correct")
    assert row.old is not None
    assert row.new is not None
    assert (row.old["seed_kg"], row.new["seed_kg"], row.reason, row.by_name) == (
        "400",
        "380",
        "one bag less",
        "Olga",
    )
    assert versions.current() == before + 1


def test_a_correction_without_a_reason_or_a_change_is_refused(small_mill: SmallMill) -> None:
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    with pytest.raises(Refused, match="Write why") as caught:
        actions.correct(by=small_mill.by, at=NOW, record=run, changes={"seed_kg": Decimal(1)}, reason=" ")
    assert caught.value.field == "reason"
    with pytest.raises(Refused, match="Nothing is different"):
        actions.correct(
            by=small_mill.by, at=NOW, record=run, changes={"seed_kg": Decimal("400.000")}, reason="x"
        )


@pytest.mark.parametrize("name", ["ref", "entered_at", "ends_at", "slot", "voided_at"])
def test_what_the_log_derives_or_keeps_is_not_corrected(small_mill: SmallMill, name: str) -> None:
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    with pytest.raises(Refused, match="can't be corrected"):
        actions.correct(by=small_mill.by, at=NOW, record=run, changes={name: NOW}, reason="x")


def test_a_correction_is_checked_like_a_new_entry(small_mill: SmallMill) -> None:
    small_mill.run("2026-03-08 06:00", "2026-03-08 14:00")
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    with pytest.raises(Refused, match="already pressing"):
        actions.correct(
            by=small_mill.by,
            at=NOW,
            record=run,
            changes={"started_at": at("2026-03-08 13:00")},
            reason="began earlier",
        )
    with pytest.raises(Refused, match="Write a number from 0 to"):
        actions.correct(by=small_mill.by, at=NOW, record=run, changes={"oil_kg": Decimal(-1)}, reason="slip")
    with pytest.raises(Doubtful) as caught:
        actions.correct(by=small_mill.by, at=NOW, record=run, changes={"hours_h": Decimal(90)}, reason="slip")
    assert codes(caught) == ["more_hours_than_clock"]
    run.refresh_from_db()
    assert (run.started_at, run.oil_kg, run.hours_h) == (at("2026-03-09 06:00"), None, None)


def test_the_reading_moves_with_the_end_of_its_run(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-09 05:00", "1000")
    run = small_mill.log(ended_at=at("2026-03-09 14:00"), meter_h=Decimal(1007))
    actions.correct(
        by=small_mill.by,
        at=NOW,
        record=run,
        changes={"ended_at": at("2026-03-09 15:00")},
        reason="stopped an hour later",
    )
    run.refresh_from_db()
    assert Reading.objects.not_voided().get(meter_h=1007).read_at == at("2026-03-09 15:00")
    assert hours.of_run(run).hours_h == pytest.approx(7)


def test_a_reading_that_gives_a_run_its_hours_is_not_moved_alone(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-09 05:00", "1000")
    run = small_mill.log(ended_at=at("2026-03-09 14:00"), meter_h=Decimal(1007))
    reading = Reading.objects.get(meter_h=1007)
    with pytest.raises(Refused, match=f"at the end of run {run.ref}"):
        actions.correct(by=small_mill.by, at=NOW, record=reading, changes={"read_at": NOW}, reason="later")
    actions.correct(
        by=small_mill.by, at=NOW, record=reading, changes={"meter_h": Decimal("1006.5")}, reason="slip"
    )
    assert hours.of_run(run).hours_h == pytest.approx(6.5)


def test_a_voided_run_frees_its_time_and_takes_its_reading_along(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-09 05:00", "1000")
    run = small_mill.log(ended_at=at("2026-03-09 14:00"), meter_h=Decimal(1007))
    gone = actions.void(by=small_mill.by, at=NOW, record=run, reason="entered twice")
    assert (gone.voided_at, gone.voided_by, gone.void_reason) == (NOW, small_mill.by, "entered twice")
    assert not Reading.objects.not_voided().filter(meter_h=1007).exists()
    assert small_mill.run("2026-03-09 06:00", "2026-03-09 14:00").pk
    with pytest.raises(Refused, match="already crossed out by Olga"):
        actions.void(by=small_mill.by, at=NOW, record=run, reason="again")
    with pytest.raises(Refused, match="crossed out"):
        actions.correct(by=small_mill.by, at=NOW, record=run, changes={"seed_kg": Decimal(1)}, reason="x")


def test_of_two_corrections_at_once_the_second_is_told(small_mill: SmallMill) -> None:
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    seen = {"seed_kg": Decimal(400), "crop": small_mill.rape.pk}
    actions.correct(
        by=small_mill.by, at=NOW, record=run, changes={"seed_kg": Decimal(380)}, reason="bag", seen=seen
    )
    with pytest.raises(Refused, match="was corrected by Olga while you had it open"):
        actions.correct(
            by=small_mill.by, at=NOW, record=run, changes={"seed_kg": Decimal(390)}, reason="bag", seen=seen
        )


# --- who may ----------------------------------------------------------------------------------------


def test_operators_change_their_own_entries_for_two_days(small_mill: SmallMill) -> None:
    oskar, otto = somebody(Role.OPERATOR, "oskar"), somebody(Role.OPERATOR, "otto")
    small_mill.by = oskar
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    with pytest.raises(NotAllowed, match="your own entries for two days"):
        actions.void(by=otto, at=NOW, record=run, reason="not mine")
    with pytest.raises(NotAllowed):
        actions.void(by=oskar, at=NOW + timedelta(hours=48, seconds=1), record=run, reason="late")
    assert actions.void(by=oskar, at=NOW + timedelta(hours=48), record=run, reason="twice").voided_by == oskar


def test_maintainers_change_every_entry_and_viewers_none(small_mill: SmallMill) -> None:
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    with pytest.raises(NotAllowed):
        actions.void(by=somebody(Role.VIEWER, "vera"), at=NOW, record=run, reason="x")
    late = NOW + timedelta(days=400)
    maria = somebody(Role.MAINTAINER, "maria")
    assert actions.void(by=maria, at=late, record=run, reason="cleaning up").voided_by == maria


# --- fittings ---------------------------------------------------------------------------------------


def test_a_wrong_flip_taken_back_leaves_the_first_edge_at_work_all_along(small_mill: SmallMill) -> None:
    begun = flip(small_mill)
    joined = actions.undo_move(by=small_mill.by, at=NOW, fitting_id=begun.pk, reason="wrong press")
    assert [each.pk for each in joined] == [small_mill.die_fitting.pk]
    assert chain(small_mill) == [("D-1", "A", FITTED, None)]
    with pytest.raises(Refused, match="already taken back by Olga"):
        actions.undo_move(by=small_mill.by, at=NOW, fitting_id=begun.pk, reason="again")


def test_a_flip_in_the_middle_of_a_chain_taken_back_joins_its_neighbours(small_mill: SmallMill) -> None:
    wrong = flip(small_mill, "2026-03-05 10:00")
    flip(small_mill, "2026-03-08 10:00")
    actions.undo_move(by=small_mill.by, at=NOW, fitting_id=wrong.pk, reason="never happened")
    assert chain(small_mill) == [
        ("D-1", "A", FITTED, at("2026-03-08 10:00")),
        ("D-1", "A", at("2026-03-08 10:00"), None),
    ]


def test_a_replacement_taken_back_brings_the_retired_part_back_into_service(small_mill: SmallMill) -> None:
    begun = replace(small_mill, because="worn")
    actions.undo_move(by=small_mill.by, at=NOW, fitting_id=begun.pk, reason="wrong position")
    small_mill.die.refresh_from_db()
    assert (small_mill.die.retired_on, small_mill.die.retired_because) == (None, "")
    assert chain(small_mill) == [("D-1", "A", FITTED, None)]
    assert small_mill.spare_die in equipment.spares(kind="die")


def test_a_swap_taken_back_puts_both_parts_where_they_were(small_mill: SmallMill) -> None:
    first, _ = actions.swap(
        by=small_mill.by,
        at=NOW,
        first_fitting_id=small_mill.screw_fitting.pk,
        second_fitting_id=small_mill.other_screw_fitting.pk,
        moved_at=MOVED,
    )
    joined = actions.undo_move(by=small_mill.by, at=NOW, fitting_id=first.pk, reason="mixed up")
    assert {each.pk for each in joined} == {small_mill.screw_fitting.pk, small_mill.other_screw_fitting.pk}
    assert equipment.place_of(small_mill.screw) == small_mill.screw_fitting
    assert equipment.place_of(small_mill.other_screw) == small_mill.other_screw_fitting


def test_a_swap_with_a_later_move_is_taken_back_only_after_that_one(small_mill: SmallMill) -> None:
    first, _ = actions.swap(
        by=small_mill.by,
        at=NOW,
        first_fitting_id=small_mill.screw_fitting.pk,
        second_fitting_id=small_mill.other_screw_fitting.pk,
        moved_at=MOVED,
    )
    actions.take_off(
        by=small_mill.by, at=NOW, expected_fitting_id=first.pk, removed_at=at("2026-03-09 12:00")
    )
    with pytest.raises(Refused, match="moved again later"):
        actions.undo_move(by=small_mill.by, at=NOW, fitting_id=first.pk, reason="mixed up")
    assert Fitting.objects.open().count() == 2


def test_a_move_is_not_taken_back_where_the_part_sits_elsewhere_by_now(small_mill: SmallMill) -> None:
    begun = replace(small_mill)
    other_place = small_mill.other.positions.create(name="die", kind="die")
    actions.fit(
        by=small_mill.by,
        at=NOW,
        part_id=small_mill.die.pk,
        edge="B",
        position_id=other_place.pk,
        fitted_at=at("2026-03-10 08:00"),
    )
    with pytest.raises(Refused, match="D-1 sat on P3 · die from"):
        actions.undo_move(by=small_mill.by, at=NOW, fitting_id=begun.pk, reason="x")
    assert Fitting.objects.open().get(position=small_mill.die_place) == begun


def test_voiding_a_first_fitting_leaves_the_position_empty(small_mill: SmallMill) -> None:
    actions.void(by=small_mill.by, at=NOW, record=small_mill.die_fitting, reason="never fitted")
    assert chain(small_mill) == []


def test_voiding_the_fitting_of_a_flip_takes_the_flip_back(small_mill: SmallMill) -> None:
    begun = flip(small_mill)
    actions.void(by=small_mill.by, at=NOW, record=begun, reason="not flipped")
    assert chain(small_mill) == [("D-1", "A", FITTED, None)]


def test_correcting_when_a_flip_was_moves_both_edges(small_mill: SmallMill) -> None:
    begun = flip(small_mill)
    for moment in ("2026-03-07 10:00", "2026-03-10 12:00"):
        actions.correct(
            by=small_mill.by, at=NOW, record=begun, changes={"fitted_at": at(moment)}, reason="clock"
        )
        begun.refresh_from_db()
        assert chain(small_mill) == [
            ("D-1", "A", FITTED, at(moment)),
            ("D-1", "B", at(moment), None),
        ]
    actions.correct(
        by=small_mill.by,
        at=NOW,
        record=small_mill.die_fitting,
        changes={"removed_at": at("2026-03-08 10:00")},
        reason="clock",
    )
    assert chain(small_mill)[1] == ("D-1", "B", at("2026-03-08 10:00"), None)


def test_correcting_when_a_swap_was_moves_all_four_fittings(small_mill: SmallMill) -> None:
    first, second = actions.swap(
        by=small_mill.by,
        at=NOW,
        first_fitting_id=small_mill.screw_fitting.pk,
        second_fitting_id=small_mill.other_screw_fitting.pk,
        moved_at=MOVED,
    )
    later = at("2026-03-09 12:00")
    actions.correct(by=small_mill.by, at=NOW, record=first, changes={"fitted_at": later}, reason="clock")
    for each in (first, second, small_mill.screw_fitting, small_mill.other_screw_fitting):
        each.refresh_from_db()
    assert {first.fitted_at, second.fitted_at} == {later}
    assert {small_mill.screw_fitting.removed_at, small_mill.other_screw_fitting.removed_at} == {later}


@pytest.mark.parametrize("moment", ["2026-03-01 06:00", "2026-02-20 06:00", "2026-03-10 18:30"])
def test_a_flip_is_not_moved_before_the_fitting_or_into_the_future(
    small_mill: SmallMill, moment: str
) -> None:
    begun = flip(small_mill)
    with pytest.raises(Refused):
        actions.correct(
            by=small_mill.by, at=NOW, record=begun, changes={"fitted_at": at(moment)}, reason="clock"
        )
    assert chain(small_mill)[0] == ("D-1", "A", FITTED, MOVED)


def test_the_edge_of_a_fitting_is_corrected_but_not_to_one_the_part_lacks(small_mill: SmallMill) -> None:
    fitting = small_mill.die_fitting
    actions.correct(by=small_mill.by, at=NOW, record=fitting, changes={"edge": "B"}, reason="was B")
    assert chain(small_mill) == [("D-1", "B", FITTED, None)]
    with pytest.raises(Refused, match="has the edges A, B"):
        actions.correct(by=small_mill.by, at=NOW, record=fitting, changes={"edge": "C"}, reason="x")
    with pytest.raises(Refused, match="takes a die; S-2 is a screw"):
        actions.correct(
            by=small_mill.by, at=NOW, record=fitting, changes={"part": small_mill.spare_screw}, reason="x"
        )


def test_another_part_is_named_for_a_fitting_unless_it_sat_elsewhere(small_mill: SmallMill) -> None:
    actions.correct(
        by=small_mill.by,
        at=NOW,
        record=small_mill.screw_fitting,
        changes={"part_id": small_mill.spare_screw.pk},
        reason="misread the stamp",
    )
    assert equipment.place_of(small_mill.spare_screw) == small_mill.screw_fitting
    with pytest.raises(Refused, match="S-3 sat on P3 · screw"):
        actions.correct(
            by=small_mill.by,
            at=NOW,
            record=small_mill.screw_fitting,
            changes={"part": small_mill.other_screw},
            reason="x",
        )


def test_a_part_taken_off_by_mistake_is_on_again_when_its_end_is_cleared(small_mill: SmallMill) -> None:
    actions.take_off(
        by=small_mill.by, at=NOW, expected_fitting_id=small_mill.die_fitting.pk, removed_at=MOVED
    )
    actions.correct(
        by=small_mill.by,
        at=NOW,
        record=small_mill.die_fitting,
        changes={"removed_at": None},
        reason="was never off",
    )
    assert chain(small_mill) == [("D-1", "A", FITTED, None)]


def test_an_end_with_a_successor_is_not_just_cleared(small_mill: SmallMill) -> None:
    flip(small_mill)
    with pytest.raises(Refused, match="Take that move back"):
        actions.correct(
            by=small_mill.by,
            at=NOW,
            record=small_mill.die_fitting,
            changes={"removed_at": None},
            reason="x",
        )


def test_a_retired_part_goes_with_the_day_it_came_off(small_mill: SmallMill) -> None:
    begun = replace(small_mill, because="worn")
    actions.correct(
        by=small_mill.by,
        at=NOW,
        record=small_mill.die_fitting,
        changes={"removed_at": at("2026-03-07 10:00")},
        reason="was Saturday",
    )
    begun.refresh_from_db()
    assert begun.fitted_at == at("2026-03-07 10:00")
    assert str(Part.objects.get(pk=small_mill.die.pk).retired_on) == "2026-03-07"


# --- work, gauges, incidents ------------------------------------------------------------------------


def logged_flip(mill: SmallMill) -> Service:
    return mill.work(
        "flip",
        "2026-03-09 10:00",
        expected_fitting_id=mill.die_fitting.pk,
        measurements=(NewMeasurement(value_mm=Decimal("5.2"), phase="before"),),
    )


def test_voiding_a_flip_takes_the_move_and_the_gauges_back(small_mill: SmallMill) -> None:
    service = logged_flip(small_mill)
    actions.void(by=small_mill.by, at=NOW, record=service, reason="wrong press")
    assert chain(small_mill) == [("D-1", "A", FITTED, None)]
    assert (Service.objects.not_voided().count(), Measurement.objects.not_voided().count()) == (0, 0)


def test_taking_a_move_back_strikes_out_the_work_that_describes_it(small_mill: SmallMill) -> None:
    service = logged_flip(small_mill)
    begun = Fitting.objects.open().get(part=small_mill.die)
    actions.undo_move(by=small_mill.by, at=NOW, fitting_id=begun.pk, reason="wrong press")
    service.refresh_from_db()
    assert service.void_reason == "wrong press"
    assert Measurement.objects.not_voided().count() == 0


def test_a_flip_that_can_not_be_taken_back_is_not_struck_out_either(small_mill: SmallMill) -> None:
    service = small_mill.work(
        "replace",
        "2026-03-09 10:00",
        expected_fitting_id=small_mill.die_fitting.pk,
        new_part_id=small_mill.spare_die.pk,
        new_edge="A",
    )
    place = small_mill.other.positions.create(name="die", kind="die")
    actions.fit(
        by=small_mill.by, at=NOW, part_id=small_mill.die.pk, edge="A", position_id=place.pk, fitted_at=NOW
    )
    with pytest.raises(Refused, match="D-1 sat on P3 · die"):
        actions.void(by=small_mill.by, at=NOW, record=service, reason="x")
    service.refresh_from_db()
    assert service.voided_at is None


def test_of_two_records_of_one_flip_the_second_is_struck_out_alone(small_mill: SmallMill) -> None:
    logged_flip(small_mill)
    twice = Service.objects.create(
        ref="book-1",
        press=small_mill.press,
        position=small_mill.die_place,
        part=small_mill.die,
        edge="A",
        action="flip",
        done_at=MOVED,
    )
    actions.void(by=small_mill.by, at=NOW, record=twice, reason="entered twice")
    assert chain(small_mill) == [("D-1", "A", FITTED, MOVED), ("D-1", "B", MOVED, None)]


def test_correcting_when_a_flip_was_logged_moves_fitting_and_gauges(small_mill: SmallMill) -> None:
    service = logged_flip(small_mill)
    later = at("2026-03-09 16:00")
    actions.correct(by=small_mill.by, at=NOW, record=service, changes={"done_at": later}, reason="clock")
    assert chain(small_mill) == [("D-1", "A", FITTED, later), ("D-1", "B", later, None)]
    assert Measurement.objects.get().measured_at == later


def test_what_a_flip_moved_is_not_changed_in_its_record(small_mill: SmallMill) -> None:
    service = logged_flip(small_mill)
    with pytest.raises(Refused, match="This work moved a part"):
        actions.correct(by=small_mill.by, at=NOW, record=service, changes={"edge": "B"}, reason="x")
    actions.correct(by=small_mill.by, at=NOW, record=service, changes={"finding": "scored"}, reason="forgot")
    assert Service.objects.get().finding == "scored"


def test_a_corrected_gauge_is_checked_like_a_new_one(small_mill: SmallMill) -> None:
    service = logged_flip(small_mill)
    gauge = Measurement.objects.get(service=service)
    with pytest.raises(Refused, match="has the edges"):
        actions.correct(by=small_mill.by, at=NOW, record=gauge, changes={"edge": "D"}, reason="x")
    with pytest.raises(Doubtful) as caught:
        actions.correct(
            by=small_mill.by, at=NOW, record=gauge, changes={"value_mm": Decimal("52")}, reason="point"
        )
    assert codes(caught) == ["large_step"]
    fixed = actions.correct(
        by=small_mill.by, at=NOW, record=gauge, changes={"value_mm": Decimal("5.25")}, reason="misread"
    )
    assert fixed.value_mm == Decimal("5.25")


def test_an_incident_corrected_to_metal_holds_the_lot(small_mill: SmallMill) -> None:
    small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", lot="L8")
    incident = actions.report_incident(
        by=small_mill.by,
        at=NOW,
        entry=NewIncident(press_id=small_mill.press.pk, kind="noise", happened_at=at("2026-03-09 09:00")),
    )
    actions.correct(by=small_mill.by, at=NOW, record=incident, changes={"kind": "metal"}, reason="a bolt")
    assert LotHold.objects.get().lot == "L8"
    actions.correct(by=small_mill.by, at=NOW, record=incident, changes={"kind": "noise"}, reason="no bolt")
    assert LotHold.objects.get().released_at is None


def test_voiding_a_metal_incident_releases_its_lot_by_a_maintainers_name(small_mill: SmallMill) -> None:
    oskar = somebody(Role.OPERATOR, "oskar")
    incident = actions.report_incident(
        by=oskar, at=NOW, entry=NewIncident(press_id=small_mill.press.pk, kind="metal", happened_at=NOW)
    )
    with pytest.raises(NotAllowed):
        actions.void(by=oskar, at=NOW, record=incident, reason="it was a stone")
    assert LotHold.objects.get().released_at is None
    actions.void(by=small_mill.by, at=NOW, record=incident, reason="it was a stone")
    hold = LotHold.objects.get()
    assert (hold.released_by, hold.reason) == ("Olga", "The incident was crossed out: it was a stone")


def test_a_note_is_corrected_and_not_emptied(small_mill: SmallMill) -> None:
    note = actions.leave_note(by=small_mill.by, at=NOW, text="belt squeels", by_name="Olga")
    fixed = actions.correct(
        by=small_mill.by, at=NOW, record=note, changes={"text": "belt squeals"}, reason="spelling"
    )
    assert fixed.text == "belt squeals"
    with pytest.raises(Refused) as caught:
        actions.correct(by=small_mill.by, at=NOW, record=note, changes={"text": ""}, reason="x")
    assert caught.value.field == "text"
    assert "Text" in message(caught)


def test_runs_count_for_the_edge_that_the_corrected_log_says(small_mill: SmallMill) -> None:
    run = small_mill.run("2026-03-09 11:00", "2026-03-09 14:00")
    begun = flip(small_mill)
    assert equipment.fitting_on(small_mill.die_place, at=run.started_at) == begun
    actions.undo_move(by=small_mill.by, at=NOW, fitting_id=begun.pk, reason="not flipped")
    assert equipment.fitting_on(small_mill.die_place, at=run.started_at) == small_mill.die_fitting
    assert Run.objects.not_voided().get() == run
