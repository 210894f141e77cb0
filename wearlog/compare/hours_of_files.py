"""The hours of runs from the files of a logbook, by the same rule as everywhere. No database is opened here.

Runs and readings are read as written in `runs.csv` and `readings.csv` (docs/logbook-format.md). The resulting
hours are the same, to the last bit, as in the database that wrote these files. Neither file lists the barrels
of a press: they are taken from its runs.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import NamedTuple, TypeVar

import numpy as np

from wearlog.calc.meters import PressHours, Remark, Source
from wearlog.compare.analysis import BadInput, Found, Row, filled
from wearlog.logbook.exchange.cells import BadCell, Instant
from wearlog.logbook.exchange.columns import Table
from wearlog.logbook.exchange.tables import BY_NAME
from wearlog.logbook.exchange.typed import Readable, typed, typed_or_none
from wearlog.runs.columns import Floats, seconds_of
from wearlog.runs.hours import ReadingColumns, compute_press_hours, ends_by, moment
from wearlog.runs.models import ReadingKind, Run

RUNS = ("ref", "press", "started_at", "ended_at", "hours_h", "through")
READINGS = ("press", "read_at", "meter_h", "kind")
SOURCES = {Source.WRITTEN: "written", Source.METER: "meter", Source.CLOCK: "clock"}
WORDS = {
    Remark.NONE_LEFT: "none_left",
    Remark.HELD_DOWN: "held_down",
    Remark.SCALED: "scaled",
    Remark.STOOD_STILL: "stood_still",
    Remark.RAN_AHEAD: "ran_ahead",
}

REF, PRESS, THROUGH, KIND = (typed(name, str) for name in ("ref", "press", "through", "kind"))
STARTED, ENDED = typed("started_at", datetime), typed_or_none("ended_at", datetime)
READ, METER_H, HOURS_H = (
    typed("read_at", datetime),
    typed("meter_h", Decimal),
    typed_or_none("hours_h", Decimal),
)


class _Run(NamedTuple):
    """A row of the runs; `place` is its index among the rows that are not empty."""

    place: int
    ref: str
    press: str
    started_at: datetime
    ended_at: datetime | None
    hours_h: Decimal | None
    through: str


class _Reading(NamedTuple):
    place: int
    press: str
    read_at: datetime
    meter_h: Decimal
    kind: str


Filed = TypeVar("Filed", _Run, _Reading)


@dataclass(frozen=True)
class _Cells(Readable):
    """The rows of a file that are not empty, each with its values by column; none of them is BAD."""

    table: Table
    rows: Sequence[Mapping[str, object]]

    @property
    def of_table(self) -> Table:
        return self.table

    @property
    def some_bad(self) -> bool:
        return False

    @property
    def counted(self) -> Sequence[int]:
        return range(len(self.rows))

    def column(self, name: str) -> Sequence[object]:
        return [row[name] for row in self.rows]


def hours(runs: list[Row], readings: list[Row], *, press: str | None, by_meter: bool) -> Found:
    """The hours of each run in the order of its file, and the stretches and doubtful readings of each meter.

    With `press` all others are left out; `by_meter` is for presses that count their hours by the meter.
    Raises BadInput."""
    filed = _cells("runs", RUNS, runs).each(REF, PRESS, STARTED, ENDED, HOURS_H, THROUGH)
    read = [_Run(*row) for row in filed]
    meters = _cells("readings", READINGS, readings).each(PRESS, READ, METER_H, KIND)
    runs_of, readings_of = _by_press(read), _by_press([_Reading(*row) for row in meters])
    _refuse_duplicates("runs", (run.ref for run in read))
    presses = sorted({*runs_of, *readings_of})
    if press is not None and press not in presses:
        known = f"they name {', '.join(presses)}" if presses else "they hold no row"
        raise BadInput(f"The files have no press {press}: {known}.")
    run_rows: dict[int, Found] = {}
    press_rows = []
    for code in presses if press is None else [press]:
        own, meter = runs_of.get(code, []), _by_time(code, readings_of.get(code, []))
        found = _hours_of_press(code, own, meter, by_meter)
        run_rows.update((run.place, _of_run(run, found, place)) for place, run in enumerate(own))
        press_rows.append(_of_press(code, meter, found))
    return {"runs": [run_rows[place] for place in sorted(run_rows)], "presses": press_rows}


def _cells(name: str, columns: Sequence[str], rows: list[Row]) -> _Cells:
    """The values of the named columns, each parsed as by an import; empty lines are left out. Raises
    BadInput."""
    table = BY_NAME[name].by_name
    found: list[dict[str, object]] = []
    for place, row in filled(rows):
        cells: dict[str, object] = {}
        for column in (table[each] for each in columns):
            text, where = row[column.name], f"Row {place} of the {name}, column {column.name}"
            try:
                cells[column.name] = column.form.read(text, UTC) if text else column.empty
            except BadCell as error:
                raise BadInput(f"{where}: “{text}” can't be used: {error}.") from error
            if not text and column.required:
                raise BadInput(f"{where} is empty, and it is required.")
            if text and isinstance(column.form, Instant) and datetime.fromisoformat(text).tzinfo is None:
                raise BadInput(f"{where}: “{text}” has no offset, write it as 2026-03-01T06:30:00+01:00.")
        start, end = cells.get("started_at"), cells.get("ended_at")
        if isinstance(start, datetime) and isinstance(end, datetime) and end < start:
            raise BadInput(f"Row {place} of the {name}: the run ends before it starts.")
        found.append(cells)
    return _Cells(BY_NAME[name], found)


def _refuse_duplicates(name: str, keys: Iterable[str]) -> None:
    seen: set[str] = set()
    for key in keys:
        if key in seen:
            raise BadInput(f"{key} stands twice in the {name}: leave one of them out.")
        seen.add(key)


def _by_press(rows: Sequence[Filed]) -> dict[str, list[Filed]]:
    """For each press its rows in the order of the file."""
    found: dict[str, list[Filed]] = defaultdict(list)
    for row in rows:
        found[row.press].append(row)
    return found


def _by_time(press: str, readings: Iterable[_Reading]) -> ReadingColumns:
    rows = sorted(readings, key=lambda row: row.read_at)
    _refuse_duplicates("readings", (f"{press} {row.read_at.isoformat()}" for row in rows))
    return ReadingColumns(
        _floats(seconds_of(row.read_at) for row in rows),
        _floats(float(row.meter_h) for row in rows),
        np.array([row.kind == ReadingKind.NEW_METER for row in rows], dtype=np.bool_),
    )


def _hours_of_press(press: str, runs: list[_Run], meter: ReadingColumns, by_meter: bool) -> PressHours:
    barrels = sorted({barrel for run in runs for barrel in run.through.split()})
    if len(barrels) > 2:
        raise BadInput(f"The runs of press {press} name the barrels {', '.join(barrels)}: it can have two.")
    start = _floats(seconds_of(run.started_at) for run in runs)
    ended = _floats(np.nan if run.ended_at is None else seconds_of(run.ended_at) for run in runs)
    recorded_h = _floats(np.nan if run.hours_h is None else float(run.hours_h) for run in runs)
    return compute_press_hours(
        start=start,
        end=ends_by(start, ended, recorded_h),
        recorded_h=recorded_h,
        slot=np.array([Run.slot_of(run.through, barrels) for run in runs], dtype=np.int64),
        readings=meter,
        by_meter=by_meter,
    )


def _floats(numbers: Iterable[float]) -> Floats:
    return np.array(list(numbers), dtype=np.float64)


def _of_run(run: _Run, found: PressHours, place: int) -> Found:
    return {
        "ref": run.ref,
        "press": run.press,
        "hours": _number_or_none(found.own_h[place]),
        "press_hours": _number_or_none(found.press_h[place]),
        "source": SOURCES.get(Source(int(found.source[place]))),
        "told": WORDS.get(Remark(int(found.remark[place]))),
    }


def _number_or_none(hours: float) -> float | None:
    return None if np.isnan(hours) else float(hours)


def _of_press(press: str, meter: ReadingColumns, found: PressHours) -> Found:
    table = found.stretches
    stretches = zip(
        _iso_texts(table.opens),
        _iso_texts(table.closes),
        table.advance_h.tolist(),
        table.press_h.tolist(),
        table.unlogged_h.tolist(),
        table.usable.tolist(),
        strict=True,
    )
    return {
        "press": press,
        "stretches": [list(stretch) for stretch in stretches],
        "slips": _iso_texts(meter.at[~found.readings.believed]),
        "unannounced": _iso_texts(meter.at[found.readings.unannounced]),
    }


def _iso_texts(instants: Floats) -> list[str]:
    return [moment(instant).isoformat() for instant in instants.tolist()]
