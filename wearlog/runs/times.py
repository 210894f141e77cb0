"""The times of a run from an entry's start, end, hours or meter. `runs.hours` decides how long it pressed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.utils.translation import gettext as _

from wearlog.people.cleaning import stored, within
from wearlog.people.fields import quantity_of
from wearlog.people.refusals import Refused
from wearlog.people.words import figure, when
from wearlog.runs import hours, queries, validation
from wearlog.runs.entries import NewRun
from wearlog.runs.hours import RunHours
from wearlog.runs.models import Reading, ReadingKind, Run
from wearlog.runs.readings import refuse_bad_reading


@dataclass(frozen=True)
class Times:
    """The start and end of a run, and the hours written down for it. `counted_back` is the number of hours by
    which `started_at` was counted back from the end, None where the start was given."""

    started_at: datetime
    ended_at: datetime | None
    hours_h: Decimal | None
    counted_back: float | None = None


def read_at_end(entry: NewRun, *, at: datetime) -> datetime:
    """When the meter was read: at the run's end, or now if the entry does not give one."""
    if entry.ended_at is not None:
        return entry.ended_at
    if entry.started_at is not None and entry.hours_h is not None and entry.hours_h.is_finite():
        return min(at, entry.started_at + timedelta(hours=float(max(entry.hours_h, Decimal(0)))))
    return at


def times_of(entry: NewRun, *, at: datetime, slot: int, reading: Reading | None) -> Times:
    """The run's start, end and written hours from an entry. Raises Refused where they are missing or
    impossible."""
    ended_at = entry.ended_at
    if reading is not None:
        refuse_bad_reading(reading)
        ended_at = reading.read_at
    written = entry.hours_h
    within(quantity_of(Run, "hours_h"), written)
    if entry.started_at is not None:
        if ended_at is not None and ended_at < entry.started_at:
            raise Refused(
                _("The end, %(when)s, lies before the start, %(start)s. Change one.")
                % {"when": when(ended_at), "start": when(entry.started_at)},
                field="ended_at",
            )
        return Times(entry.started_at, ended_at, stored(written))
    if written is not None:
        end = ended_at or at
        return Times(end - timedelta(hours=float(written)), end, stored(written), float(written))
    if reading is not None:
        return times_by_meter(reading, slot=slot)
    if ended_at is not None:
        raise Refused(_("Give the start of the run, its hours, or the meter."), field="started_at")
    return Times(at, None, None)


def times_by_meter(reading: Reading, *, slot: int) -> Times:
    """Count the start back by the hours that the meter leaves for a run that ends at the reading. Raises
    Refused."""
    if reading.kind == ReadingKind.NEW_METER:
        raise Refused(
            _("A new meter can't tell the hours of this run. Give them, or the start."), field="hours_h"
        )
    end = reading.read_at
    found = hours.of_run(Run(press=reading.press, slot=slot, started_at=end, ended_at=end), reading=reading)
    if found.left_h is None or found.left_h <= 0 or found.stretch is None:
        raise _meter_refusal(reading, found)
    # A meter that is slightly fast must not move the start before the previous reading.
    start = max(end - timedelta(hours=found.left_h), hours.moment(found.stretch.opens))
    return Times(start, end, None, found.left_h)


def _meter_refusal(reading: Reading, found: RunHours) -> Refused:
    """Why the hours of a run that ends at the reading can't be taken from the meter, and what to do."""
    before = queries.reading_before(reading.press_id, reading.read_at)
    if before is None:
        return Refused(
            _(
                "This is the first reading of the meter of %(press)s, so it can't tell the hours "
                "yet. Give the hours of this run, or its start."
            )
            % {"press": reading.press},
            field="hours_h",
        )
    words = {
        "before": validation.plain(before),
        "reading": validation.plain(reading),
        "when": when(before.read_at),
    }
    if reading.meter_h < before.meter_h:
        return Refused(
            _(
                "The meter showed %(before)s h on %(when)s, more than %(reading)s h. Check the "
                "number; if the meter was replaced, say new meter and give the hours of this "
                "run, or its start."
            )
            % words,
            field="meter_h",
        )
    if reading.meter_h == before.meter_h:
        return Refused(
            _(
                "The meter has stood at %(before)s h since %(when)s, so it can't tell the hours of this run. "
                "Check the number, or give the hours of this run, or its start."
            )
            % words,
            field="meter_h",
        )
    if found.left_h is not None and found.stretch is not None:
        advance = found.stretch.advance_h
        return Refused(
            _(
                "The meter advanced %(advance)s h since %(when)s, and the runs logged since then "
                "took %(others)s h of it. Give the hours of this run, or correct those."
            )
            % {
                "advance": figure(advance, ".6g"),
                "when": when(hours.moment(found.stretch.opens)),
                "others": figure(advance - found.left_h, ".6g"),
            },
            field="hours_h",
        )
    return Refused(
        _(
            "Beside the other readings and runs of %(press)s, %(reading)s h can't tell the hours of this "
            "run: the meter ran ahead of the clock, or another run was under way. Check the number, or "
            "give the hours of this run, or its start."
        )
        % {"press": reading.press, **words},
        field="hours_h",
    )
