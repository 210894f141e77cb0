"""How long runs pressed: the only place that applies the rule in `calc.meters` to runs and readings.

A page that shows a few runs reads the part of the log around them (`of_run`, `of_runs`), which is chosen wide
enough that the whole log would give the same digits. Only `history` reads all runs of a press as arrays, with
`run_columns` and `readings_of`, and passes them to `worked_out`. No other code computes hours
(docs/decisions/hours-of-a-run.md).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property

import numpy as np
from django.db.models import Q, QuerySet

from wearlog.calc.meters import (
    MARGIN,
    SAME_MOMENT_S,
    PressHours,
    Remark,
    Source,
    clean_edges,
    hours_of_press,
)
from wearlog.equipment.models import HoursFrom, Press
from wearlog.runs.columns import ANY, Flags, Floats, Ints, columns, digest_of, number, seconds, seconds_of
from wearlog.runs.models import SLOTS, Reading, ReadingKind, Run

REACH = 12
"""This many readings on each side of a run are read first; more if the result could still change."""


@dataclass(frozen=True, eq=False)
class ReadingColumns:
    """The meter readings of one press, in order of time; shape (n,) each."""

    at: Floats
    meter_h: Floats
    new_meter: Flags

    @cached_property
    def digest(self) -> str:
        columns = {"at": self.at, "meter_h": self.meter_h, "new_meter": self.new_meter}
        return digest_of(columns)

    def upto(self, end: float) -> ReadingColumns:
        """The readings before an instant."""
        if not self.at.size or self.at[-1] < end:
            return self
        count = int(np.searchsorted(self.at, end, side="left"))
        return ReadingColumns(self.at[:count], self.meter_h[:count], self.new_meter[:count])


NO_READINGS = ReadingColumns(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.bool_))


@dataclass(frozen=True)
class StretchOfRun:
    """The stretch between two readings in which a run lies: instants in seconds since 1970, hours."""

    opens: float
    closes: float
    advance_h: float
    press_h: float


@dataclass(frozen=True)
class RunHours:
    """The hours of one run (None for one that goes on), their source, and a remark.

    written_h: the hours that were written down. left_h: for a run logged by the meter, what the other runs
    left of the advance, before it was capped by elapsed time."""

    hours_h: float | None
    source: Source
    remark: Remark = Remark.NOTHING
    written_h: float | None = None
    left_h: float | None = None
    stretch: StretchOfRun | None = None

    @property
    def claimed_h(self) -> float | None:
        """The hours as written down or shown by the meter, before the rule adjusted them."""
        if self.written_h is not None:
            return self.written_h
        return self.left_h if self.left_h is not None and self.left_h > 0 else self.hours_h


def hours_between(start: datetime, end: datetime) -> float:
    """Elapsed time in hours."""
    return (end - start).total_seconds() / 3600


def by_meter(press: Press) -> bool:
    """Whether the press counts its hours by its meter."""
    return press.hours_from == HoursFrom.METER


def compute_press_hours(
    *,
    start: Floats,
    end: Floats,
    recorded_h: Floats,
    slot: Ints,
    readings: ReadingColumns | None,
    by_meter: bool,
) -> PressHours:
    """The hours of all runs of one press, in the order given; `end` is NaN for a run that goes on. Arrays are
    as in `calc.meters.hours_of_press`."""
    known = readings or NO_READINGS
    return hours_of_press(
        start=start,
        end=end,
        recorded_h=recorded_h,
        slot=slot,
        at=known.at,
        meter_h=known.meter_h,
        new_meter=known.new_meter,
        by_meter=by_meter,
    )


def ends_by(start: Floats, ended: Floats, recorded_h: Floats, instant: float = np.inf) -> Floats:
    """When each run ended, as known at an instant: the recorded end, else its start plus the written hours;
    NaN for a run that goes on. An end after the instant is not known yet."""
    known = np.where(ended > instant, np.nan, ended)
    ends = np.where(np.isnan(known), start + recorded_h * 3600.0, known)
    return np.where(ends > instant, np.nan, ends)


def run_columns(
    rows: QuerySet[Run],
    presses: Collection[int],
    *,
    numbers: tuple[str, ...] = (),
    small: Mapping[str, int] | None = None,
) -> dict[str, Floats]:
    """Columns of all these runs, which are of these presses, in the same order: `id`, `press_id`, `crop_id`,
    `started_at`, `ended_at`, `hours_h`, `slot` and the requested ones, as in `columns`; NaN for null. One
    query."""
    return columns(
        rows,
        numbers=("hours_h", *numbers),
        instants=("started_at", "ended_at"),
        small={
            "slot": SLOTS,
            **(small or {}),
            "crop_id": ANY,
            "press_id": max(presses, default=0) + 1 + MEANWHILE,
            "id": ANY,
        },
    )


MEANWHILE = 1_000
"""Room for the keys of presses that somebody adds before the runs are read."""


def readings_of(presses: Collection[int]) -> dict[int, ReadingColumns]:
    """The readings of these presses that are not voided, by press; presses without any are absent. One
    query."""
    rows: dict[int, list[tuple[float, float, bool]]] = defaultdict(list)
    found = Reading.objects.not_voided().filter(press_id__in=presses).order_by("press_id", "read_at", "pk")
    for press_id, at, meter_h, kind in found.values_list(
        "press_id", seconds("read_at"), number("meter_h"), "kind"
    ).iterator(chunk_size=20_000):
        rows[press_id].append((at, meter_h, kind == ReadingKind.NEW_METER))
    return {press_id: _columns(table) for press_id, table in rows.items()}


def _columns(rows: Sequence[tuple[float, float, bool]]) -> ReadingColumns:
    if not rows:
        return NO_READINGS
    at, meter_h, new = zip(*rows, strict=True)
    return ReadingColumns(np.array(at), np.array(meter_h), np.array(new, dtype=np.bool_))


def hours_without_readings(run: Run) -> float | None:
    """The hours of an ended run if the meter can't change them, for lists that read no readings: hours
    written down on a press that doesn't count by its meter. Else None."""
    return None if run.hours_h is None or by_meter(run.press) else float(run.hours_h)


# --- a few runs --------------------------------------------------------------------------------------


def of_run(run: Run, *, reading: Reading | None = None) -> RunHours:
    """The hours of a run with the values of this object, stored or not, and with a reading that may not be
    stored yet. For a stored run the digits are the same as in every sum over the press."""
    if run.ended_at is None and run.hours_h is None:
        return RunHours(None, Source.GOES_ON)
    written = hours_without_readings(run)
    if written is not None:
        return _as_written(written)
    own = _row(run)
    return _hours_around(run.press_id, by_meter(run.press), [own], added=own, reading=reading)[0]


def of_runs(runs: Iterable[Run]) -> list[RunHours]:
    """The hours of stored runs, in their order; a few queries for each press on which the meter matters."""
    wanted = list(runs)
    found: dict[int, RunHours] = {}
    requested: dict[int, list[int]] = defaultdict(list)
    metered = set(
        Press.objects.filter(pk__in={run.press_id for run in wanted}, hours_from=HoursFrom.METER).values_list(
            "pk", flat=True
        )
    )
    for place, run in enumerate(wanted):
        if run.ends_at is None:
            found[place] = RunHours(None, Source.GOES_ON)
        elif run.hours_h is not None and run.press_id not in metered:
            found[place] = _as_written(float(run.hours_h))
        else:
            requested[run.press_id].append(place)
    for press_id, places in requested.items():
        hours = _hours_around(press_id, press_id in metered, [_row(wanted[place]) for place in places])
        found.update(zip(places, hours, strict=True))
    return [found[place] for place in range(len(wanted))]


@dataclass(frozen=True)
class _Row:
    key: int | None
    start: float
    end: float
    recorded_h: float
    slot: int


def moment(instant: float) -> datetime:
    """An instant of the arrays (seconds since 1970) as a datetime in UTC."""
    return datetime.fromtimestamp(instant, UTC)


def _row(run: Run) -> _Row:
    return _row_of(
        run.pk,
        seconds_of(run.started_at),
        None if run.ended_at is None else seconds_of(run.ended_at),
        None if run.hours_h is None else float(run.hours_h),
        run.slot,
    )


def _row_of(key: int | None, start: float, ended: float | None, hours: float | None, slot: int) -> _Row:
    recorded = np.nan if hours is None else hours
    return _Row(key, start, start + recorded * 3600.0 if ended is None else ended, recorded, slot)


def _hours_around(
    press_id: int,
    by_meter: bool,
    requested: Sequence[_Row],
    *,
    added: _Row | None = None,
    reading: Reading | None = None,
) -> list[RunHours]:
    """The hours of ended runs of one press, from the part of its log that can affect them.

    `added` replaces the stored run with its key, if there is one; `reading` is one that is not stored yet.
    Where no run lies between two readings, no other run is read, however long ago the last reading was."""
    first = min(row.start for row in requested) - SAME_MOMENT_S
    last = max(row.end for row in requested) + SAME_MOMENT_S
    reach = REACH
    while True:
        part = _readings_around(press_id, first, last, reach, reading)
        if part is not None and not any(part.enclose(row) for row in requested):
            part = None
        if part is None:
            rows = list(requested)
        else:
            lowest, highest = min(first, float(part.known.at[0])), max(last, float(part.known.at[-1]))
            rows = _runs(press_id, lowest, highest, added)
        found = compute_press_hours(
            start=np.array([row.start for row in rows]),
            end=np.array([row.end for row in rows]),
            recorded_h=np.array([row.recorded_h for row in rows]),
            slot=np.array([row.slot for row in rows], dtype=np.int64),
            readings=None if part is None else part.known,
            by_meter=by_meter,
        )
        if part is None or part.settles(found, requested):
            place = {row.key: number for number, row in enumerate(rows)}
            return [_hours_at(found, place[row.key], row.recorded_h) for row in requested]
        reach *= 4


@dataclass(frozen=True)
class _ReadingsAround:
    """Readings around some runs, and whether they include the first and the last reading of the press."""

    known: ReadingColumns
    from_first: bool
    to_last: bool

    def enclose(self, row: _Row) -> bool:
        """Whether there is a reading before the run's end and one after it, or at it. Without both it lies in
        no stretch, so that the meter tells nothing of it."""
        end = row.end - SAME_MOMENT_S
        return bool(self.known.at[0] < end <= self.known.at[-1])

    def settles(self, found: PressHours, requested: Sequence[_Row]) -> bool:
        """Whether readings further away can't change anything in the stretches of these runs."""
        clean_before, clean_after = clean_edges(self.known.at, self.known.meter_h, self.known.new_meter)
        bounds = self.known.at[found.bounds]
        earliest = min(row.end for row in requested) - SAME_MOMENT_S
        latest = max(row.end for row in requested) - SAME_MOMENT_S
        before = (bounds < earliest) & (found.bounds >= MARGIN)
        after = (bounds >= latest) & (found.bounds < self.known.at.size - MARGIN)
        return (self.from_first or (clean_before and bool(before.any()))) and (
            self.to_last or (clean_after and bool(after.any()))
        )


def _readings_around(
    press_id: int, first: float, last: float, reach: int, unsaved: Reading | None
) -> _ReadingsAround | None:
    """The readings within a span and `reach` more on each side of it; None where there are none."""
    rows = (
        Reading.objects.not_voided()
        .filter(press_id=press_id)
        .values_list(seconds("read_at"), number("meter_h"), "kind")
    )
    before = list(rows.filter(read_at__lt=moment(first)).order_by("-read_at")[:reach])
    upto = moment(last)
    since = list(rows.filter(read_at__gte=moment(first), read_at__lte=upto).order_by("read_at"))
    after = list(rows.filter(read_at__gt=upto).order_by("read_at")[:reach])
    every = [*reversed(before), *since, *after]
    if unsaved is not None and unsaved.pk is None:
        every.append((seconds_of(unsaved.read_at), float(unsaved.meter_h), unsaved.kind))
        every.sort()
    if not every:
        return None
    known = _columns([(at, meter_h, kind == ReadingKind.NEW_METER) for at, meter_h, kind in every])
    return _ReadingsAround(known, len(before) < reach, len(after) < reach)


def _runs(press_id: int, first: float, last: float, added: _Row | None) -> list[_Row]:
    """The runs of a press that overlap a span and are not voided; `added` replaces the one with its key."""
    found = Run.objects.not_voided().filter(
        Q(ends_at__gte=moment(first)) | Q(ends_at__isnull=True),
        press_id=press_id,
        started_at__lte=moment(last),
    )
    rows = [
        _row_of(*row)
        for row in found.order_by().values_list(
            "pk", seconds("started_at"), seconds("ended_at"), number("hours_h"), "slot"
        )
        if added is None or row[0] != added.key
    ]
    return rows if added is None else [*rows, added]


def _as_written(hours: float) -> RunHours:
    return RunHours(hours, Source.WRITTEN, written_h=hours)


def _hours_at(found: PressHours, place: int, written: float) -> RunHours:
    hours, left = float(found.own_h[place]), float(found.left_h[place])
    number = int(found.stretch[place])
    stretches = found.stretches
    return RunHours(
        hours_h=None if np.isnan(hours) else hours,
        source=Source(int(found.source[place])),
        remark=Remark(int(found.remark[place])),
        written_h=None if np.isnan(written) else written,
        left_h=None if np.isnan(left) else left,
        stretch=None
        if number < 0
        else StretchOfRun(
            float(stretches.opens[number]),
            float(stretches.closes[number]),
            float(stretches.advance_h[number]),
            float(stretches.press_h[number]),
        ),
    )
