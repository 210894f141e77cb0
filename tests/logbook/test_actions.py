"""What holds for every entry through the one door: refs, roles, the version of the log, one transaction."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta, timezone
from decimal import Decimal

import pytest

from tests.dates import at
from tests.mills.logbook_mill import NOW, SmallMill, small_mill, somebody
from wearlog.equipment.models import Fitting
from wearlog.history import versions
from wearlog.logbook import actions
from wearlog.logbook.entries import NewCropChange, NewIncident, NewMeasurement, NewRun, NewWork
from wearlog.people.models import AuditEntry, Role
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.runs.models import Reading, Run
from wearlog.service.models import Incident, LotHold, Measurement, Service

__all__ = ["small_mill"]


def new_run(mill: SmallMill, **more: object) -> NewRun:
    entry = NewRun(
        press_id=mill.press.pk,
        crop_id=mill.rape.pk,
        seed_kg=Decimal("400"),
        started_at=at("2026-03-09 06:00"),
        ended_at=at("2026-03-09 14:00"),
        ref="phone-1",
    )
    return replace(entry, **more)  # type: ignore[arg-type]


def test_the_same_entry_sent_twice_is_one_run(small_mill: SmallMill) -> None:
    first = actions.log_run(by=small_mill.by, at=NOW, entry=new_run(small_mill))
    east = timezone(timedelta(hours=2))
    again = new_run(small_mill, seed_kg=Decimal("400.0"), started_at=at("2026-03-09 06:00").astimezone(east))
    second = actions.log_run(by=small_mill.by, at=NOW + timedelta(hours=3), entry=again)
    assert second.pk == first.pk
    assert Run.objects.count() == 1


def test_other_content_under_the_same_ref_is_refused(small_mill: SmallMill) -> None:
    actions.log_run(by=small_mill.by, at=NOW, entry=new_run(small_mill))
    with pytest.raises(Refused, match="stored before, with other content") as caught:
        actions.log_run(by=small_mill.by, at=NOW, entry=new_run(small_mill, seed_kg=Decimal(500)))
    assert caught.value.field == "ref"


def test_an_entry_sent_again_after_a_correction_is_still_the_same(small_mill: SmallMill) -> None:
    run = actions.log_run(by=small_mill.by, at=NOW, entry=new_run(small_mill))
    actions.correct(
        by=small_mill.by, at=NOW, record=run, changes={"seed_kg": Decimal(380)}, reason="one bag less"
    )
    again = actions.log_run(by=small_mill.by, at=NOW, entry=new_run(small_mill))
    assert (again.pk, again.seed_kg) == (run.pk, Decimal(380))


def test_an_entry_sent_again_after_the_log_was_imported_anew_is_still_the_same(
    small_mill: SmallMill,
) -> None:
    imported = Run.objects.create(
        ref="phone-1",
        press=small_mill.press,
        crop=small_mill.rape,
        seed_kg=Decimal(400),
        started_at=at("2026-03-09 06:00"),
        ended_at=at("2026-03-09 14:00"),
    )
    again = actions.log_run(by=small_mill.by, at=NOW, entry=new_run(small_mill))
    assert again.pk == imported.pk
    with pytest.raises(Refused, match="stored before, with other content"):
        actions.log_run(by=small_mill.by, at=NOW, entry=new_run(small_mill, seed_kg=Decimal(401)))


def test_an_entry_sent_again_after_it_was_struck_out_stays_struck_out(small_mill: SmallMill) -> None:
    run = actions.log_run(by=small_mill.by, at=NOW, entry=new_run(small_mill))
    actions.void(by=small_mill.by, at=NOW, record=run, reason="wrong press")
    again = actions.log_run(by=small_mill.by, at=NOW, entry=new_run(small_mill))
    assert again.voided_at == NOW
    assert Run.objects.count() == 1


def test_a_flip_sent_twice_flips_once(small_mill: SmallMill) -> None:
    entry = NewWork(
        press_id=small_mill.press.pk,
        action="flip",
        done_at=at("2026-03-09 10:00"),
        expected_fitting_id=small_mill.die_fitting.pk,
        ref="phone-2",
    )
    first = actions.log_work(by=small_mill.by, at=NOW, entry=entry)
    second = actions.log_work(by=small_mill.by, at=NOW, entry=entry)
    assert first.pk == second.pk
    assert Fitting.objects.not_voided().filter(part=small_mill.die).count() == 2
    assert Service.objects.count() == 1


def test_every_write_raises_the_version_of_the_log(small_mill: SmallMill) -> None:
    before = versions.current()
    actions.log_run(by=small_mill.by, at=NOW, entry=new_run(small_mill))
    assert versions.current() == before + 1
    with pytest.raises(Refused):
        actions.log_run(by=small_mill.by, at=NOW, entry=new_run(small_mill, ref="other"))
    assert versions.current() == before + 1


def test_work_with_a_bad_gauge_stores_nothing_at_all(small_mill: SmallMill) -> None:
    entry = NewWork(
        press_id=small_mill.press.pk,
        action="flip",
        done_at=at("2026-03-09 10:00"),
        expected_fitting_id=small_mill.die_fitting.pk,
        measurements=(NewMeasurement(value_mm=Decimal("5.2")), NewMeasurement(value_mm=Decimal(-1))),
    )
    rows = AuditEntry.objects.count()
    with pytest.raises(Refused, match="Write a number from 0 to"):
        actions.log_work(by=small_mill.by, at=NOW, entry=entry)
    assert (Service.objects.count(), Measurement.objects.count()) == (0, 0)
    assert Fitting.objects.open().get(part=small_mill.die).edge == "A"
    assert AuditEntry.objects.count() == rows


def test_a_viewer_logs_nothing(small_mill: SmallMill) -> None:
    viewer = somebody(Role.VIEWER, "vera")
    with pytest.raises(NotAllowed, match="As viewer you can't log runs and work"):
        actions.log_run(by=viewer, at=NOW, entry=new_run(small_mill))
    with pytest.raises(NotAllowed):
        actions.leave_note(by=viewer, at=NOW, text="belt squeals", by_name="Vera")


def test_a_run_by_the_meter_leaves_a_reading_and_no_hours(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-09 05:00", "1200")
    run = small_mill.log(ended_at=at("2026-03-09 15:00"), meter_h=Decimal("1208.5"))
    assert (run.hours_h, run.started_at) == (None, at("2026-03-09 06:30"))
    reading = Reading.objects.get(read_at=at("2026-03-09 15:00"))
    assert reading.meter_h == Decimal("1208.5")


def test_an_incident_with_metal_holds_the_lot_that_was_pressed_then(small_mill: SmallMill) -> None:
    small_mill.run("2026-03-08 06:00", "2026-03-08 14:00", lot="L7")
    small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", lot="L8")
    incident = actions.report_incident(
        by=small_mill.by,
        at=NOW,
        entry=NewIncident(press_id=small_mill.press.pk, kind="metal", happened_at=at("2026-03-08 09:00")),
    )
    hold = LotHold.objects.get()
    assert (hold.incident_id, hold.lot, hold.released_at) == (incident.pk, "L7", None)


def test_other_incidents_hold_nothing(small_mill: SmallMill) -> None:
    actions.report_incident(
        by=small_mill.by,
        at=NOW,
        entry=NewIncident(press_id=small_mill.press.pk, kind="plugged", happened_at=NOW),
    )
    assert (Incident.objects.count(), LotHold.objects.count()) == (1, 0)


def test_a_held_lot_is_released_by_name_and_reason_and_only_once(small_mill: SmallMill) -> None:
    actions.report_incident(
        by=small_mill.by,
        at=NOW,
        entry=NewIncident(press_id=small_mill.press.pk, kind="metal", happened_at=NOW, lot="L9"),
    )
    hold = LotHold.objects.get()
    with pytest.raises(Refused, match="name of the person"):
        actions.release_lot(by=small_mill.by, at=NOW, hold_id=hold.pk, released_by=" ", reason="sieved")
    with pytest.raises(Refused, match="why the lot may be used"):
        actions.release_lot(by=small_mill.by, at=NOW, hold_id=hold.pk, released_by="Olga", reason="")
    released = actions.release_lot(
        by=small_mill.by, at=NOW, hold_id=hold.pk, released_by="Olga", reason="sieved, magnet clean"
    )
    assert (released.released_at, released.released_by) == (NOW, "Olga")
    with pytest.raises(Refused, match="already released by Olga"):
        actions.release_lot(by=small_mill.by, at=NOW, hold_id=hold.pk, released_by="Otto", reason="again")


def test_an_operator_does_not_release_a_lot(small_mill: SmallMill) -> None:
    operator = somebody(Role.OPERATOR, "oskar")
    actions.report_incident(
        by=operator,
        at=NOW,
        entry=NewIncident(press_id=small_mill.press.pk, kind="metal", happened_at=NOW),
    )
    with pytest.raises(NotAllowed):
        actions.release_lot(
            by=operator, at=NOW, hold_id=LotHold.objects.get().pk, released_by="Oskar", reason="looks fine"
        )


def test_a_crop_change_is_signed_and_knows_what_was_pressed_before(small_mill: SmallMill) -> None:
    small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    change = actions.record_crop_change(
        by=small_mill.by,
        at=NOW,
        entry=NewCropChange(
            press_id=small_mill.press.pk,
            done_at=at("2026-03-09 16:00"),
            to_crop_id=small_mill.flax.pk,
            signed_by="Oskar",
            purge_kg=Decimal(12),
        ),
    )
    assert (change.from_crop, change.to_crop, change.service.action) == (
        small_mill.rape,
        small_mill.flax,
        "clean",
    )
    with pytest.raises(Refused, match="signs for it"):
        actions.record_crop_change(
            by=small_mill.by,
            at=NOW,
            entry=NewCropChange(
                press_id=small_mill.press.pk, done_at=NOW, to_crop_id=small_mill.flax.pk, signed_by=""
            ),
        )


def test_a_note_reaches_the_next_shift(small_mill: SmallMill) -> None:
    note = actions.leave_note(
        by=small_mill.by, at=NOW, text="  belt squeals ", by_name="", press_id=small_mill.press.pk
    )
    assert (note.text, note.by_name) == ("belt squeals", "Olga")
    with pytest.raises(Refused, match="empty"):
        actions.leave_note(by=small_mill.by, at=NOW, text=" ", by_name="Olga")


def test_a_gauge_sent_twice_is_one_gauge(small_mill: SmallMill) -> None:
    gauge = NewMeasurement(value_mm=Decimal("5.123"), ref="phone-3")

    def send(value: NewMeasurement) -> Measurement:
        return actions.log_measurement(
            by=small_mill.by,
            at=NOW,
            part_id=small_mill.die.pk,
            edge="A",
            measured_at=NOW,
            measurement=value,
        )

    assert send(gauge).pk == send(gauge).pk
    with pytest.raises(Refused, match="stored before, with other content"):
        send(replace(gauge, value_mm=Decimal("5.2")))
