"""The one door: every write to the log enters here, from a page, a phone's queue, a sheet or a command.

Each function is keyword-only, calls the action of the app that owns the record and then raises the log's
version, in one transaction: all of it is stored, or nothing. `by` is the person (None: the command line),
`at` the instant of the entry. They raise

- `NotAllowed` where the person's role lacks the permission,
- `AlreadyMoved` where somebody else has moved the part in the meantime,
- `Doubtful` where something looks wrong and may be right: ask, and send the codes back in `confirmed`,
- `Refused` where it can't be taken as it is; the text says what to do, `field` which input it belongs to.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from decimal import Decimal

from wearlog.equipment import actions as moves
from wearlog.equipment.models import Fitting
from wearlog.logbook import closing
from wearlog.logbook.corrections import correct, undo_move, void
from wearlog.logbook.door import enter
from wearlog.logbook.sheets import log_sheet
from wearlog.logbook.things import remove_plan_entry, remove_thing, save_person, save_thing
from wearlog.people.models import LogRecord, User
from wearlog.runs import actions as runs
from wearlog.runs import notes, readings
from wearlog.runs.entries import NewRun
from wearlog.runs.models import Reading, Run, SeedHow, ShiftNote
from wearlog.service import actions as service
from wearlog.service import incidents, photos
from wearlog.service.entries import NewCropChange, NewIncident, NewMeasurement, NewWork
from wearlog.service.models import CropChange, Incident, LotHold, Measurement, Photo, Service
from wearlog.service.pictures import Picture

__all__ = [
    "correct",
    "fit",
    "flip",
    "keep_photos",
    "leave_note",
    "log_measurement",
    "log_reading",
    "log_run",
    "log_sheet",
    "log_work",
    "record_crop_change",
    "release_lot",
    "remove_plan_entry",
    "remove_thing",
    "replace",
    "report_incident",
    "save_person",
    "save_thing",
    "stop_run",
    "swap",
    "take_off",
    "undo_move",
    "void",
]


def log_run(*, by: User | None, at: datetime, entry: NewRun, confirmed: Collection[str] = ()) -> Run:
    """Log a run. The same `entry.ref` sent again returns the run that stands."""
    return enter(
        lambda: closing.pressed(
            lambda: runs.log_run(by=by, at=at, entry=entry, confirmed=confirmed),
            ref=entry.ref,
            confirmed=confirmed,
        )
    )


def stop_run(
    *,
    by: User | None,
    at: datetime,
    run_id: int,
    ended_at: datetime,
    seed_kg: Decimal | None,
    seed_how: str = SeedHow.WEIGHED,
    hours_h: Decimal | None = None,
    meter_h: Decimal | None = None,
    oil_kg: Decimal | None = None,
    confirmed: Collection[str] = (),
) -> Run:
    """End a run that goes on. With `meter_h` a reading is written at its end and the hours follow from it.
    `seed_kg` None with `seed_how` "worked_out" works the seed out from the usual rate, and asks first."""
    return enter(
        lambda: closing.pressed(
            lambda: runs.stop_run(
                by=by,
                at=at,
                run_id=run_id,
                ended_at=ended_at,
                seed_kg=seed_kg,
                seed_how=seed_how,
                hours_h=hours_h,
                meter_h=meter_h,
                oil_kg=oil_kg,
                confirmed=confirmed,
            ),
            ref="",
            confirmed=confirmed,
        )
    )


def log_reading(
    *,
    by: User | None,
    at: datetime,
    press_id: int,
    read_at: datetime,
    meter_h: Decimal,
    new_meter: bool = False,
    confirmed: Collection[str] = (),
) -> Reading:
    """Log what the hour meter shows; `new_meter` where it is the first value of a meter just fitted."""
    return enter(
        lambda: readings.log_reading(
            by=by,
            at=at,
            press_id=press_id,
            read_at=read_at,
            meter_h=meter_h,
            new_meter=new_meter,
            confirmed=confirmed,
        )
    )


def log_work(
    *,
    by: User | None,
    at: datetime,
    entry: NewWork,
    confirmed: Collection[str] = (),
    release_stated: bool = False,
) -> Service:
    """Log work with its gauges; flip and replace also move the part. `release_stated` keeps that the person
    stated the steps before a restart. Raises StillLocked while somebody else's lock is recorded as being on
    at the press."""
    return enter(
        lambda: closing.work_done(
            lambda: service.log_work(by=by, at=at, entry=entry, confirmed=confirmed),
            by=by,
            at=at,
            ref=entry.ref,
            confirmed=confirmed,
            release_stated=release_stated,
        )
    )


def log_measurement(
    *,
    by: User | None,
    at: datetime,
    part_id: int,
    edge: str,
    measured_at: datetime,
    measurement: NewMeasurement,
    confirmed: Collection[str] = (),
) -> Measurement:
    """Log one gauge on a part, on the press or on the shelf."""
    return enter(
        lambda: service.log_measurement(
            by=by,
            at=at,
            part_id=part_id,
            edge=edge,
            measured_at=measured_at,
            measurement=measurement,
            confirmed=confirmed,
        )
    )


def report_incident(*, by: User | None, at: datetime, entry: NewIncident) -> Incident:
    """Report an incident; metal holds the lot."""
    return enter(lambda: incidents.report_incident(by=by, at=at, entry=entry))


def release_lot(*, by: User | None, at: datetime, hold_id: int, released_by: str, reason: str) -> LotHold:
    """Release a held lot, by name and with a reason."""
    return enter(
        lambda: incidents.release_lot(by=by, at=at, hold_id=hold_id, released_by=released_by, reason=reason)
    )


def record_crop_change(*, by: User | None, at: datetime, entry: NewCropChange) -> CropChange:
    """Keep the signed cleaning record between two crops."""
    return enter(
        lambda: closing.crop_changed(
            lambda: incidents.record_crop_change(by=by, at=at, entry=entry), by=by, ref=entry.ref
        )
    )


def leave_note(
    *, by: User | None, at: datetime, text: str, by_name: str, press_id: int | None = None
) -> ShiftNote:
    """Leave a line for the next shift."""
    return enter(lambda: notes.leave_note(by=by, at=at, text=text, by_name=by_name, press_id=press_id))


def keep_photos(
    *, by: User | None, at: datetime, record: LogRecord, pictures: Sequence[Picture]
) -> list[Photo]:
    """Keep photos with work, an incident or a note that stands. Raises NotKept where the disk would not take
    them: all or none of them are kept."""
    return enter(lambda: photos.keep(by=by, at=at, record=record, pictures=pictures))


def fit(
    *, by: User | None, at: datetime, part_id: int, edge: str, position_id: int, fitted_at: datetime
) -> Fitting:
    """Put a part from the shelf on an empty position."""
    return enter(
        lambda: closing.part_moved(
            lambda: moves.fit(
                by=by, at=at, part_id=part_id, edge=edge, position_id=position_id, fitted_at=fitted_at
            ),
            by=by,
        )
    )


def take_off(
    *,
    by: User | None,
    at: datetime,
    expected_fitting_id: int,
    removed_at: datetime,
    retired_because: str = "",
) -> Fitting:
    """Take a part off, to the shelf or out of service. Returns the fitting that ended."""
    return enter(
        lambda: closing.part_moved(
            lambda: moves.take_off(
                by=by,
                at=at,
                expected_fitting_id=expected_fitting_id,
                removed_at=removed_at,
                retired_because=retired_because,
            ),
            by=by,
        )
    )


def flip(
    *, by: User | None, at: datetime, expected_fitting_id: int, moved_at: datetime, to_edge: str = ""
) -> Fitting:
    """Turn a part to another edge. Returns the fitting that began."""
    return enter(
        lambda: closing.part_moved(
            lambda: moves.flip(
                by=by, at=at, expected_fitting_id=expected_fitting_id, moved_at=moved_at, to_edge=to_edge
            ),
            by=by,
        )
    )


def replace(
    *,
    by: User | None,
    at: datetime,
    position_id: int,
    expected_fitting_id: int | None,
    new_part_id: int,
    new_edge: str,
    moved_at: datetime,
    old_part_retired_because: str = "",
) -> Fitting:
    """Put another part on a position. Returns the fitting that began."""
    return enter(
        lambda: closing.part_moved(
            lambda: moves.replace(
                by=by,
                at=at,
                position_id=position_id,
                expected_fitting_id=expected_fitting_id,
                new_part_id=new_part_id,
                new_edge=new_edge,
                moved_at=moved_at,
                old_part_retired_because=old_part_retired_because,
            ),
            by=by,
        )
    )


def swap(
    *, by: User | None, at: datetime, first_fitting_id: int, second_fitting_id: int, moved_at: datetime
) -> tuple[Fitting, Fitting]:
    """Let two parts change places. Returns the two fittings that began, the first part's first."""
    return enter(
        lambda: closing.part_moved(
            lambda: moves.swap(
                by=by,
                at=at,
                first_fitting_id=first_fitting_id,
                second_fitting_id=second_fitting_id,
                moved_at=moved_at,
            ),
            by=by,
        )
    )
