"""Logging runs: what is handed in becomes times and hours, is checked, asked about, and stored.

The press's row is locked first, so that two entries for one press are judged one after the other.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal

from django.db import transaction

from wearlog.equipment.models import Press
from wearlog.people import audit, refs
from wearlog.people.cleaning import clean, not_negative, per_cent, stored
from wearlog.people.models import User
from wearlog.people.refusals import Doubt, Refused
from wearlog.people.roles import Permission, require
from wearlog.people.words import day_of, when
from wearlog.runs import doubts, queries
from wearlog.runs.entries import NewRun
from wearlog.runs.models import Crop, Reading, ReadingKind, Run
from wearlog.runs.readings import locked_press, new_reading, refuse_bad_reading, store_reading

NOT_NEGATIVE = (
    "seed_kg",
    "oil_kg",
    "cake_kg",
    "foots_kg",
    "hours_h",
    "energy_kwh",
    "drive_hz",
    "motor_a",
)
PER_CENT = ("moisture_pct", "seed_oil_pct", "cake_oil_pct")
COPIED = (
    "lot",
    "seed_kg",
    "oil_kg",
    "cake_kg",
    "foots_kg",
    "through",
    "moisture_pct",
    "seed_oil_pct",
    "cake_oil_pct",
    "head_c",
    "drive_hz",
    "motor_a",
    "energy_kwh",
    "dirt",
    "purge",
    "done_by",
    "note",
)


@dataclass(frozen=True)
class Times:
    """When a run was, and the hours that are stored with it. `counted_back` is the hours from which
    `started_at` was counted back, None where the start was given."""

    started_at: datetime
    ended_at: datetime | None
    hours_h: Decimal | None
    counted_back: float | None = None


@transaction.atomic
def log_run(*, by: User | None, at: datetime, entry: NewRun, confirmed: Collection[str] = ()) -> Run:
    """Log a run, with the reading at its end where it was logged by the meter.

    A start that is not given is counted back from the end (`at` where that is not given either) by the
    hours, or by what the meter advanced. Raises Doubtful and Refused as `logbook.actions` says.
    """
    require(by, Permission.LOG)
    press = locked_press(entry.press_id)
    if entry.ref:
        existing: Run | None = Run.objects.filter(ref=entry.ref).first()
        if existing is not None:
            refs.same_entry(existing, entry)
            return existing
    crop = Crop.objects.filter(pk=entry.crop_id).first()
    if crop is None:
        raise Refused("There is no such crop. Choose one from the list.", field="crop")
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
        doubts.ask(doubts.about_reading(reading, at=at), confirmed)  # before the hours are counted by it
    times = times_of(entry, at=at, slot=run.slot, reading=reading)
    open_doubts = place(run, times)
    check(run)
    refuse_overlap(run)
    open_doubts += questions(run, at=at, hours=hours_told(run, reading))
    if reading is not None:
        open_doubts += doubts.about_reading(reading, at=at)
    doubts.ask(open_doubts, confirmed)
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
    seed_kg: Decimal,
    hours_h: Decimal | None = None,
    meter_h: Decimal | None = None,
    oil_kg: Decimal | None = None,
    confirmed: Collection[str] = (),
) -> Run:
    """End a run that goes on. The same stop sent twice is one; another one is refused with who stopped it."""
    require(by, Permission.LOG)
    press_id = Run.objects.filter(pk=run_id).values_list("press_id", flat=True).first()
    if press_id is None:
        raise Refused("There is no such run. Open the day page again.", field="run")
    press = locked_press(press_id)
    run: Run = Run.objects.select_related("press", "crop").get(pk=run_id)
    if run.voided_at is not None:
        raise Refused("This run was struck out. Log it anew.", field="run")
    if run.ends_at is not None:
        if (run.ended_at, run.seed_kg) == (ended_at, stored(seed_kg)):
            return run
        raise Refused(
            f"This run was already ended, on {when(run.ends_at)}{audit.by_whom(run)}. "
            "Correct it if that is wrong.",
            field="run",
        )
    if ended_at <= run.started_at:
        raise Refused(
            f"The run began on {when(run.started_at)}. Give a later end, or correct the start.",
            field="ended_at",
        )
    old = audit.snapshot(run)
    run.ended_at, run.seed_kg, run.hours_h = ended_at, seed_kg, hours_h
    if oil_kg is not None:
        run.oil_kg = oil_kg
    check(run)
    refuse_overlap(run)
    reading = None
    if meter_h is not None:
        reading = new_reading(by=by, at=at, press=press, read_at=ended_at, meter_h=meter_h, new_meter=False)
        if run.hours_h is None:
            run.hours_h = hours_left_by_other_runs(run, reading)
    open_doubts = questions(run, at=at, hours=hours_told(run, reading))
    if reading is not None:
        open_doubts += doubts.about_reading(reading, at=at)
    doubts.ask(open_doubts, confirmed)
    run.save()
    audit.write(at=at, by=by, action="stop", record=run, old=old, new=audit.snapshot(run))
    if reading is not None:
        store_reading(by=by, at=at, reading=reading)
    return run


def recheck(run: Run, *, at: datetime, confirmed: Collection[str]) -> None:
    """Check a changed run like a new one. The caller holds the lock of its press."""
    run.slot = slot_for(run.press, run.through)
    check(run)
    refuse_overlap(run)
    doubts.ask(questions(run, at=at, hours=queries.hours_of(run)), confirmed)


# --- times and hours --------------------------------------------------------------------------------


def read_at_end(entry: NewRun, *, at: datetime) -> datetime:
    """When the meter was read: at the run's end, which is now where nothing tells it."""
    if entry.ended_at is not None:
        return entry.ended_at
    if entry.started_at is not None and entry.hours_h is not None and entry.hours_h.is_finite():
        return min(at, entry.started_at + timedelta(hours=float(max(entry.hours_h, Decimal(0)))))
    return at


def times_of(entry: NewRun, *, at: datetime, slot: int, reading: Reading | None) -> Times:
    """The run's start, end and stored hours from what was handed in."""
    ended_at = entry.ended_at
    if reading is not None:
        refuse_bad_reading(reading)
        ended_at = reading.read_at
    hours = entry.hours_h
    if hours is not None and (not hours.is_finite() or hours < 0):
        raise Refused("Hours can't be negative. Write 0 or more.", field="hours_h")
    if hours is not None and hours > 24 * 366:
        raise Refused(
            "More than a year of hours is not one run. Write the hours of this run.", field="hours_h"
        )
    if entry.started_at is not None:
        if ended_at is not None and ended_at < entry.started_at:
            raise Refused(
                f"The end, {when(ended_at)}, lies before the start, {when(entry.started_at)}. Change one.",
                field="ended_at",
            )
        times = Times(entry.started_at, ended_at, stored(hours))
        if reading is None or hours is not None or ended_at is None:
            return times
        probe = Run(press=reading.press, slot=slot, started_at=entry.started_at, ended_at=ended_at)
        return replace(times, hours_h=hours_left_by_other_runs(probe, reading))
    if hours is not None:
        end = ended_at or at
        return Times(end - timedelta(hours=float(hours)), end, stored(hours), float(hours))
    if reading is not None:
        return times_by_meter(reading, slot=slot)
    if ended_at is not None:
        raise Refused("Give the start of the run, its hours, or the meter.", field="started_at")
    return Times(at, None, None)


def times_by_meter(reading: Reading, *, slot: int) -> Times:
    """Count the start back by what the meter advanced since the reading before."""
    before = queries.reading_before(reading.press_id, reading.read_at)
    if reading.kind == ReadingKind.NEW_METER:
        raise Refused(
            "A new meter can't tell the hours of this run. Give them, or the start.", field="hours_h"
        )
    if before is None:
        raise Refused(
            f"This is the first reading of the meter of {reading.press}, so it can't tell the hours yet. "
            "Give the hours of this run, or its start.",
            field="hours_h",
        )
    advance = reading.meter_h - before.meter_h
    if advance < 0:
        raise Refused(
            f"The meter showed {doubts.plain(before)} h on {when(before.read_at)}, more than "
            f"{doubts.plain(reading)} h. Check the number; if the meter was replaced, say new meter and give "
            "the hours of this run, or its start.",
            field="meter_h",
        )
    others = hours_of_others(reading, before, slot)
    hours = advance - others
    if others and hours <= 0:
        raise Refused(
            f"The meter advanced {advance:f} h since {when(before.read_at)}, and the runs logged since then "
            f"took {others:f} h of it. Give the hours of this run, or correct those.",
            field="hours_h",
        )
    start = reading.read_at - timedelta(hours=float(hours))
    return Times(start, reading.read_at, hours if others else None, float(hours))


def hours_of_others(reading: Reading, before: Reading, slot: int) -> Decimal:
    """Hours of runs through the same barrels that ended since the reading before: the meter's advance is
    theirs and not the new run's."""
    runs = list(
        Run.objects.of(reading.press).filter(
            slot__in=queries.slots_sharing_a_barrel(slot),
            ends_at__gt=before.read_at,
            ends_at__lte=reading.read_at,
        )
    )
    hours = [each for each in queries.hours_of_runs(runs) if each is not None]
    return stored(Decimal(repr(sum(hours)))) or Decimal(0)


def hours_left_by_other_runs(run: Run, reading: Reading) -> Decimal | None:
    """None where the meter's whole advance is this run's; else its own hours, to be stored with it."""
    before = queries.reading_before(reading.press_id, reading.read_at)
    if before is None or reading.kind == ReadingKind.NEW_METER or reading.meter_h < before.meter_h:
        return None
    others = hours_of_others(reading, before, run.slot)
    if not others:
        return None
    hours: Decimal = reading.meter_h - before.meter_h - others
    if hours > 0:
        return hours
    clock = doubts.hours_between(run.started_at, reading.read_at)
    return stored(Decimal(repr(clock)))


def place(run: Run, times: Times) -> list[Doubt]:
    """Put the run at its times. A start that was counted back into the last run is asked about, and moved
    to that run's end: the hours may be wrong, an overlap can't be."""
    run.started_at, run.ended_at, run.hours_h = times.started_at, times.ended_at, times.hours_h
    run.ends_at = Run.end_of(run.started_at, run.ended_at, run.hours_h)
    if times.counted_back is None or times.ended_at is None:
        return []
    earlier = list(
        queries.overlapping_runs(run.press_id, run.slot, run.started_at, times.ended_at).order_by(
            "-started_at"
        )
    )
    last = max((each.ends_at for each in earlier if each.ends_at is not None), default=None)
    if last is None or any(each.ends_at is None for each in earlier) or last >= times.ended_at:
        return []
    run.started_at = last
    newest = next(each for each in earlier if each.ends_at == last)
    clock = doubts.hours_between(last, times.ended_at)
    if times.counted_back <= clock + doubts.slack_h(clock):
        return []
    return doubts.since_last_run(run, times.counted_back, newest)


def hours_told(run: Run, reading: Reading | None) -> float | None:
    """The hours of a run whose reading is not stored yet."""
    if run.hours_h is not None:
        return float(run.hours_h)
    if reading is not None and reading.kind == ReadingKind.READING:
        before = queries.reading_before(reading.press_id, reading.read_at)
        if before is not None and reading.meter_h >= before.meter_h:
            return float(reading.meter_h - before.meter_h)
    if run.ended_at is None:
        return None
    return doubts.hours_between(run.started_at, run.ended_at)


# --- what is refused and what is asked --------------------------------------------------------------


def slot_for(press: Press, through: str) -> int:
    """The slot of the barrels named; raises Refused for a name that the press doesn't have."""
    if not through.strip():
        return 0
    barrels = press.barrels()
    unknown = [name for name in through.split() if name not in barrels]
    if unknown:
        has = f"It has {', '.join(barrels)}." if barrels else "Its barrels have no names: leave it empty."
        raise Refused(f"{press} has no barrel {unknown[0]!r}. {has}", field="through")
    return Run.slot_of(through, barrels)


def check(run: Run) -> None:
    """Refuse what can't be: bad numbers, a retired press, a field that is too long."""
    if run.seed_kg is None:
        raise Refused("Write how much seed was pressed; 0 where none was.", field="seed_kg")
    not_negative(run, NOT_NEGATIVE)
    per_cent(run, PER_CENT)
    retired_on = run.press.retired_on
    if retired_on is not None and day_of(run.started_at) >= retired_on:
        raise Refused(
            f"{run.press} was retired on {retired_on:%Y-%m-%d}. Choose another press, or correct that day.",
            field="press",
        )
    if run.ended_at is not None and run.ended_at < run.started_at:
        raise Refused(
            f"The end, {when(run.ended_at)}, lies before the start, {when(run.started_at)}. Change one.",
            field="ended_at",
        )
    clean(run)


def refuse_overlap(run: Run) -> None:
    run.derive()
    if run.ends_at is not None and run.ends_at == run.started_at:
        return
    for other in queries.overlapping_runs(
        run.press_id, run.slot, run.started_at, run.ends_at, exclude=run.pk
    ):
        if other.ends_at is None:
            raise Refused(
                f"{run.press} is still pressing {other.crop} since {when(other.started_at)} "
                f"(run {other.ref}). End that run first.",
                field="started_at",
            )
        if other.ends_at > other.started_at:
            raise Refused(
                f"{run.press} was already pressing {other.crop} from {when(other.started_at)} to "
                f"{when(other.ends_at)} (run {other.ref}). Change the times, or correct that run first.",
                field="started_at",
            )


def questions(run: Run, *, at: datetime, hours: float | None) -> list[Doubt]:
    return [
        *doubts.in_the_future(run.started_at, run.ends_at, at=at, field="started_at"),
        *doubts.about_hours(run, hours),
        *doubts.about_pace(run, hours),
        *doubts.about_what_is_fitted(run),
    ]
