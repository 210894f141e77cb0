"""When a run was and how long it pressed, from what was handed in: start, end, hours, meter."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal

from django.utils.translation import gettext as _

from wearlog.people.cleaning import stored
from wearlog.people.refusals import Refused
from wearlog.people.words import in_language, when
from wearlog.runs import doubts, queries
from wearlog.runs.entries import NewRun
from wearlog.runs.models import Reading, ReadingKind, Run
from wearlog.runs.readings import refuse_bad_reading


@dataclass(frozen=True)
class Times:
    """When a run was, and the hours that are stored with it. `counted_back` is the hours from which
    `started_at` was counted back, None where the start was given."""

    started_at: datetime
    ended_at: datetime | None
    hours_h: Decimal | None
    counted_back: float | None = None


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
        raise Refused(_("Hours can't be negative. Write 0 or more."), field="hours_h")
    if hours is not None and hours > 24 * 366:
        raise Refused(
            _("More than a year of hours is not one run. Write the hours of this run."), field="hours_h"
        )
    if entry.started_at is not None:
        if ended_at is not None and ended_at < entry.started_at:
            raise Refused(
                _("The end, %(when)s, lies before the start, %(start)s. Change one.")
                % {"when": when(ended_at), "start": when(entry.started_at)},
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
        raise Refused(_("Give the start of the run, its hours, or the meter."), field="started_at")
    return Times(at, None, None)


def times_by_meter(reading: Reading, *, slot: int) -> Times:
    """Count the start back by what the meter advanced since the reading before."""
    before = queries.reading_before(reading.press_id, reading.read_at)
    if reading.kind == ReadingKind.NEW_METER:
        raise Refused(
            _("A new meter can't tell the hours of this run. Give them, or the start."), field="hours_h"
        )
    if before is None:
        raise Refused(
            _(
                "This is the first reading of the meter of %(press)s, so it can't tell the hours "
                "yet. Give the hours of this run, or its start."
            )
            % {"press": reading.press},
            field="hours_h",
        )
    advance = reading.meter_h - before.meter_h
    if advance < 0:
        raise Refused(
            _(
                "The meter showed %(before)s h on %(when)s, more than %(reading)s h. Check the "
                "number; if the meter was replaced, say new meter and give the hours of this "
                "run, or its start."
            )
            % {
                "before": doubts.plain(before),
                "when": when(before.read_at),
                "reading": doubts.plain(reading),
            },
            field="meter_h",
        )
    others = hours_of_others(reading, before, slot)
    hours = advance - others
    if others and hours <= 0:
        raise Refused(
            _(
                "The meter advanced %(advance)s h since %(when)s, and the runs logged since then "
                "took %(others)s h of it. Give the hours of this run, or correct those."
            )
            % {
                "advance": in_language(f"{advance:f}"),
                "when": when(before.read_at),
                "others": in_language(f"{others:f}"),
            },
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
