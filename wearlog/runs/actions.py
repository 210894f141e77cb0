"""Logging runs: times and hours are derived from the entry, which is then validated, queried and stored.

The press's row is locked first, so that two entries for one press are processed one after the other.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import fields
from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.people import audit, refs
from wearlog.people.cleaning import check_numbers, clean_fields, stored
from wearlog.people.fields import stated
from wearlog.people.models import User
from wearlog.people.refusals import Doubt, Refused
from wearlog.people.roles import Permission, require
from wearlog.people.words import day, day_of, when
from wearlog.runs import guesses, hours, queries, validation
from wearlog.runs.entries import NewRun
from wearlog.runs.hours import RunHours
from wearlog.runs.models import Crop, Run, SeedHow
from wearlog.runs.readings import locked_press, new_reading, refuse_bad_reading, store_reading
from wearlog.runs.times import Times, read_at_end, times_of

WORKED_OUT = {"ref", "started_at", "ended_at", "hours_h"}
COPIED = tuple(
    given.name for given in fields(NewRun) if given.name in {*stated(Run)} and given.name not in WORKED_OUT
)
"""The values that a run has as they were entered."""


@transaction.atomic
def log_run(*, by: User | None, at: datetime, entry: NewRun, confirmed: Collection[str] = ()) -> Run:
    """Log a run, and the reading at its end if it was logged by the meter.

    A missing start is counted back from the end (or from `at`, if that is missing too) by the hours, or by
    the advance of the meter. If an entry with the same `entry.ref` was stored before, that run is returned.
    Raises Doubtful and Refused as described in `logbook.actions`.
    """
    require(by, Permission.LOG)
    press = locked_press(entry.press_id)
    existing = refs.find_existing(Run, ref=entry.ref, entry=entry)
    if existing is not None:
        return existing
    crop = Crop.objects.filter(pk=entry.crop_id).first()
    if crop is None:
        raise Refused(_("There is no such crop. Choose one from the list."), field="crop")
    run = Run(
        ref=entry.ref or refs.new_ref(at),
        press=press,
        crop=crop,
        entered_at=at,
        entered_by=by,
        **{name: getattr(entry, name) for name in COPIED},
    )
    run.slot = slot_for(press, run.through)
    reading = None
    if entry.meter_h is not None:
        reading = new_reading(
            by=by,
            at=at,
            press=press,
            read_at=read_at_end(entry, at=at),
            meter_h=entry.meter_h,
            new_meter=entry.new_meter,
        )
    if reading is not None and entry.started_at is None and entry.hours_h is None:
        refuse_bad_reading(reading)
        validation.ask(
            validation.about_reading(reading, at=at), confirmed
        )  # must come before the hours are derived from the reading
    times = times_of(entry, at=at, slot=run.slot, reading=reading)
    open_doubts = place(run, times)
    run_hours = hours.of_run(run, reading=reading)
    open_doubts += seed_to_ask(run, run_hours.hours_h)
    check(run)
    refuse_overlap(run)
    open_doubts += questions(run, at=at, run_hours=run_hours)
    if reading is not None:
        open_doubts += validation.about_reading(reading, at=at)
    validation.ask(open_doubts, confirmed)
    run.save()
    audit.write(
        at=at,
        by=by,
        action=refs.LOGGED,
        record=run,
        new={**audit.snapshot(run), "entry": refs.digest(entry)},
    )
    if reading is not None:
        store_reading(by=by, at=at, reading=reading)
    return run


@transaction.atomic
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
    """End a run that goes on. The same stop sent again returns the run; a different one is refused.

    With `meter_h` a reading is stored at its end and the hours are derived from it. With `seed_kg` None and
    `seed_how` "worked_out" the seed is worked out from the usual rate, which has to be confirmed. Raises
    Doubtful and Refused.
    """
    require(by, Permission.LOG)
    press_id = Run.objects.filter(pk=run_id).values_list("press_id", flat=True).first()
    if press_id is None:
        raise Refused(_("There is no such run. Open the day page again."), field="run")
    press = locked_press(press_id)
    run: Run = Run.objects.select_related("press", "crop").get(pk=run_id)
    if run.voided_at is not None:
        raise Refused(_("This run was crossed out. Log it anew."), field="run")
    if run.ends_at is not None:
        same_seed = run.seed_kg == stored(seed_kg) if seed_kg is not None else True
        if run.ended_at == ended_at and same_seed and run.seed_how == seed_how:
            return run
        raise Refused(
            _("This run was already ended, on %(when)s%(by_whom)s. Correct it if that is wrong.")
            % {"when": when(run.ends_at), "by_whom": audit.by_whom(run)},
            field="run",
        )
    if ended_at <= run.started_at:
        raise Refused(
            _("The run began on %(when)s. Give a later end, or correct the start.")
            % {"when": when(run.started_at)},
            field="ended_at",
        )
    old = audit.snapshot(run)
    run.ended_at, run.hours_h = ended_at, hours_h
    run.seed_kg = seed_kg  # type: ignore[assignment]  # None until it is worked out, never when it is saved
    run.seed_how = seed_how
    if oil_kg is not None:
        run.oil_kg = oil_kg
    reading = None
    if meter_h is not None:
        reading = new_reading(by=by, at=at, press=press, read_at=ended_at, meter_h=meter_h, new_meter=False)
    run_hours = hours.of_run(run, reading=reading)
    to_ask = seed_to_ask(run, run_hours.hours_h)
    check(run)
    refuse_overlap(run)
    open_doubts = to_ask + questions(run, at=at, run_hours=run_hours)
    if reading is not None:
        open_doubts += validation.about_reading(reading, at=at)
    validation.ask(open_doubts, confirmed)
    run.save()
    audit.write(at=at, by=by, action="stop", record=run, old=old, new=audit.snapshot(run))
    if reading is not None:
        store_reading(by=by, at=at, reading=reading)
    return run


def recheck(run: Run, *, at: datetime, confirmed: Collection[str]) -> None:
    """Validate a changed run like a new one. The caller must hold the lock of its press."""
    run.slot = slot_for(run.press, run.through)
    check(run)
    refuse_overlap(run)
    validation.ask(questions(run, at=at, run_hours=hours.of_run(run)), confirmed)


def recheck_moved(run: Run) -> None:
    """Refuse what can't be of a run that was given to another press. Nothing is asked: what it says is the
    same. The caller must hold the lock of its press."""
    run.slot = slot_for(run.press, run.through)
    check(run)
    refuse_overlap(run)


def place(run: Run, times: Times) -> list[Doubt]:
    """Set the run's times. If the start was counted back into the previous run, move it to that run's end,
    since runs can't overlap; where the difference is more than rounding, return a question, since the hours
    may be wrong."""
    run.started_at, run.ended_at, run.hours_h = times.started_at, times.ended_at, times.hours_h
    run.ends_at = Run.end_of(run.started_at, run.ended_at, run.hours_h)
    if times.counted_back is None or times.ended_at is None:
        return []
    last = queries.last_ended_before(run.press_id, run.slot, times.ended_at)
    if last is None or last.ends_at is None or last.ends_at <= run.started_at:
        return []
    run.started_at = last.ends_at
    clock = hours.hours_between(last.ends_at, times.ended_at)
    if times.counted_back <= clock + validation.slack_h(clock):
        return []
    return validation.since_last_run(run, times.counted_back, last)


# --- validation: refusals and questions -------------------------------------------------------------


def seed_to_ask(run: Run, hours_h: float | None) -> list[Doubt]:
    """Work out the seed if that was requested, and return the question to confirm it; else no question."""
    guesses.check(run)
    if run.seed_kg is not None or run.seed_how != SeedHow.WORKED_OUT:
        return []
    return [guesses.work_out(run, hours=hours_h)]


def slot_for(press: Press, through: str) -> int:
    """The slot of the named barrels (see `Run`). Raises Refused for a name that the press doesn't have."""
    if not through.strip():
        return 0
    barrels = press.barrels()
    unknown = [name for name in through.split() if name not in barrels]
    if unknown:
        has = (
            _("It has %(names)s.") % {"names": ", ".join(barrels)}
            if barrels
            else _("Its barrels have no names: leave it empty.")
        )
        raise Refused(
            _("%(press)s has no barrel %(unknown)s. %(has)s")
            % {"press": press, "unknown": repr(unknown[0]), "has": has},
            field="through",
        )
    return Run.slot_of(through, barrels)


def check(run: Run) -> None:
    """Raise Refused for impossible values: missing or bad numbers, a retired press, too long a text."""
    if run.seed_kg is None:
        raise Refused(_("Write how much seed was pressed; 0 where none was."), field="seed_kg")
    check_numbers(run)
    retired_on = run.press.retired_on
    if retired_on is not None and day_of(run.started_at) >= retired_on:
        raise Refused(
            _("%(press)s was retired on %(retired_on)s. Choose another press, or correct that day.")
            % {"press": run.press, "retired_on": day(retired_on)},
            field="press",
        )
    if run.ended_at is not None and run.ended_at < run.started_at:
        raise Refused(
            _("The end, %(when)s, lies before the start, %(start)s. Change one.")
            % {"when": when(run.ended_at), "start": when(run.started_at)},
            field="ended_at",
        )
    clean_fields(run, known=("press", "crop", "ref"))


def refuse_overlap(run: Run) -> None:
    run.derive()
    if run.ends_at is not None and run.ends_at == run.started_at:
        return
    other = queries.run_in_the_way(run.press_id, run.slot, run.started_at, run.ends_at, exclude=run.pk)
    if other is None:
        return
    if other.ends_at is None:
        raise Refused(
            _("%(press)s is still pressing %(crop)s since %(when)s (run %(ref)s). End that run first.")
            % {"press": run.press, "crop": other.crop, "when": when(other.started_at), "ref": other.ref},
            field="started_at",
        )
    raise Refused(
        _(
            "%(press)s was already pressing %(crop)s from %(when)s to %(end)s (run "
            "%(ref)s). Change the times, or correct that run first."
        )
        % {
            "press": run.press,
            "crop": other.crop,
            "when": when(other.started_at),
            "end": when(other.ends_at),
            "ref": other.ref,
        },
        field="started_at",
    )


def questions(run: Run, *, at: datetime, run_hours: RunHours) -> list[Doubt]:
    return [
        *validation.in_the_future(run.started_at, run.ends_at, at=at, field="started_at"),
        *validation.about_hours(run, run_hours.claimed_h),
        *validation.about_pace(run, run_hours.hours_h),
        *validation.about_what_is_fitted(run),
    ]
