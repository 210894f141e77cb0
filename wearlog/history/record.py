"""The log as it stood at the end of a day: the only loader that forecasts read from.

The as-of day ends at 24:00 in the mill's zone. A row whose first instant is later does not exist; a
`removed_at`, `ended_at` or `retired_on` that is later counts as empty, and so does the reason with it; a run
counts once it has ended; a plan entry counts from `planned_on`. Presses, positions, part types, crops, rules
and energy sources count as always known, voided rows never. When a row was entered does not matter.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from typing import TypeVar
from zoneinfo import ZoneInfo

import numpy as np

from wearlog.calc.conformal import RangeFactors
from wearlog.calc.exposure import PressTimeline, timeline_of
from wearlog.calc.meters import PressHours
from wearlog.history.by_press import ByPress
from wearlog.history.log import Log, load_log
from wearlog.history.models import LogVersion
from wearlog.history.rows import (
    FittingRow,
    Floats,
    IncidentRow,
    MeasurementRow,
    PartRow,
    PlanRow,
    PositionRow,
    PressRow,
    ReadingColumns,
    RuleRow,
    RunColumns,
    ServiceRow,
    TypeRow,
)
from wearlog.runs.hours import compute_press_hours

Kind = TypeVar("Kind")


@dataclass(frozen=True, eq=False)
class Record:
    """All that a forecast may use. Mappings are by primary key; tuples are in order of time, then key."""

    as_of: date
    zone: ZoneInfo
    units: str
    end: float
    """24:00 of the as-of day, in seconds since 1970: the first instant that is not known."""
    crops: tuple[str, ...]
    presses: Mapping[int, PressRow]
    positions: Mapping[int, PositionRow]
    types: Mapping[int, TypeRow]
    parts: Mapping[int, PartRow]
    rules: tuple[RuleRow, ...]
    fittings: tuple[FittingRow, ...]
    services: tuple[ServiceRow, ...]
    measurements: tuple[MeasurementRow, ...]
    incidents: tuple[IncidentRow, ...]
    plan: tuple[PlanRow, ...]
    runs: Mapping[int, RunColumns]
    readings: Mapping[int, ReadingColumns]
    range_factors: RangeFactors
    """By how much the mill's track record moves the two ends of the ranges of wear limits."""

    def day_of(self, instant: float) -> date:
        """The day, in the mill's zone, to which an instant belongs."""
        return datetime.fromtimestamp(instant, UTC).astimezone(self.zone).date()

    def start_of(self, day: date) -> float:
        """0:00 of a day in the mill's zone."""
        return datetime.combine(day, time.min, self.zone).timestamp()

    def retired(self, part: PartRow) -> bool:
        return part.retired_on is not None

    @cached_property
    def hours(self) -> Mapping[int, PressHours]:
        """By press: the hours of its runs (first those in `runs` in their order, then those that go on), its
        stretches between readings, and which readings are believed. Every press has an entry."""
        return ByPress(self.presses, self._hours)

    def _hours(self, presses: list[int]) -> dict[int, PressHours]:
        all_runs, all_readings = ByPress.of(self.runs, presses), ByPress.of(self.readings, presses)
        found = {}
        for press_id in presses:
            runs = all_runs.get(press_id) or NO_RUNS
            going_on = np.full(runs.going_on.size, np.nan)
            found[press_id] = compute_press_hours(
                start=np.concatenate((runs.start, runs.going_on)),
                end=np.concatenate((runs.end, going_on)),
                recorded_h=np.concatenate((runs.recorded_h, going_on)),
                slot=np.concatenate((runs.slot, runs.slot_going_on)),
                readings=all_readings.get(press_id),
                by_meter=self.presses[press_id].by_meter,
            )
        return found

    def by_press(
        self, make: Callable[[list[int]], Mapping[int, Kind]], old: Mapping[int, Kind], same: Collection[int]
    ) -> ByPress[Kind]:
        """A mapping for every press; for the presses in `same`, values that `old` has already are kept."""
        made = old.made if isinstance(old, ByPress) else old
        return ByPress(self.presses, make, {press: made[press] for press in same if press in made})

    def run_hours(self, press_id: int) -> Floats:
        """The own hours of each of the press's runs, shape (n,), in the order of `runs`."""
        runs = self.runs.get(press_id) or NO_RUNS
        return self.hours[press_id].own_h[: runs.start.size]

    def press_hours(self, press_id: int) -> Floats:
        """Each run's share of the press's hours, which count each moment once; in the order of `runs`."""
        runs = self.runs.get(press_id) or NO_RUNS
        return self.hours[press_id].press_h[: runs.start.size]

    @cached_property
    def timelines(self) -> Mapping[int, PressTimeline]:
        """The work of each press over time; every press has an entry."""
        return ByPress(self.presses, self._timelines)

    def timelines_of(self, presses: Iterable[int]) -> Mapping[int, PressTimeline]:
        """The timelines of these presses at least; their logs are read together."""
        return ByPress.of(self.timelines, sorted(set(presses)))

    def _timelines(self, presses: list[int]) -> dict[int, PressTimeline]:
        all_runs, all_hours = ByPress.of(self.runs, presses), ByPress.of(self.hours, presses)
        timelines = {}
        for press_id in presses:
            runs = all_runs.get(press_id) or NO_RUNS
            timelines[press_id] = timeline_of(
                hours=all_hours[press_id],
                unlogged=self.presses[press_id].by_meter,
                start=runs.start,
                end=runs.end,
                kilograms=runs.seed_kg,
                crop=runs.crop,
                crops=len(self.crops),
                shares=self.barrel_shares.get(press_id, {}),
                through=runs.through,
            )
        return timelines

    @cached_property
    def barrel_shares(self) -> Mapping[int, dict[str, float]]:
        """By press: the share of its seed that each of its barrels takes."""
        shares: dict[int, dict[str, float]] = defaultdict(dict)
        for position in self.positions.values():
            if position.barrel:
                shares[position.press_id].setdefault(position.barrel, position.share)
        return shares

    @cached_property
    def services_by_rule(self) -> Mapping[int, tuple[ServiceRow, ...]]:
        """For each rule the services that count for it, in order of time: those that name it, and those that
        name no rule and have its action. For a rule with `named_only` only those that name it."""
        naming: dict[int, list[ServiceRow]] = defaultdict(list)
        acting: dict[str, list[ServiceRow]] = defaultdict(list)
        for service in self.services:
            if service.rule_id is None:
                acting[service.action].append(service)
            else:
                naming[service.rule_id].append(service)
        return {
            rule.id: tuple(
                sorted(
                    [*naming[rule.id], *([] if rule.named_only else acting[rule.action])],
                    key=lambda row: (row.done, row.id),
                )
            )
            for rule in self.rules
        }

    def changed(self, **changes: object) -> Record:
        """A record with other values in these fields."""
        values = {field.name: getattr(self, field.name) for field in fields(Record)}
        return Record(**(values | changes))

    def narrowed(
        self,
        presses: Collection[int],
        *,
        positions: tuple[PositionRow, ...],
        fittings: tuple[FittingRow, ...],
        services: tuple[ServiceRow, ...],
        measurements: tuple[MeasurementRow, ...],
        incidents: tuple[IncidentRow, ...],
        plan: tuple[PlanRow, ...],
    ) -> Record:
        """The record of these presses alone, with these rows; hours and timelines are taken over."""

        def of(table: Mapping[int, Kind]) -> dict[int, Kind]:
            return {press: table[press] for press in sorted(presses) if press in table}

        parts = {row.part_id for row in fittings}
        made = self.changed(
            presses=of(self.presses),
            positions={row.id: row for row in positions},
            parts={pk: self.parts[pk] for pk in sorted(parts)},
            fittings=fittings,
            services=services,
            measurements=measurements,
            incidents=incidents,
            plan=plan,
            runs=of(self.runs),
            readings=of(self.readings),
        )
        made.__dict__.update(hours=of(self.hours), timelines=of(self.timelines))
        return made

    @cached_property
    def fittings_of(self) -> Mapping[int, tuple[FittingRow, ...]]:
        """Each part's fittings in order of time; parts that were never fitted are absent."""
        found: dict[int, list[FittingRow]] = defaultdict(list)
        for fitting in self.fittings:
            found[fitting.part_id].append(fitting)
        return {part: tuple(rows) for part, rows in found.items()}

    @cached_property
    def earlier(self) -> Mapping[int, Earlier]:
        """By part: the work that it had done before this log, for those of which it is known and which have
        been fitted. What the log itself holds from before the day on which it stood is taken off."""
        found = {}
        for part in self.parts.values():
            if (part.used_h or part.used_kg) and part.id in self.fittings_of:
                logged_h, logged_kg = self._logged_before(part)
                earlier = Earlier(max(part.used_h - logged_h, 0.0), max(part.used_kg - logged_kg, 0.0))
                found[part.id] = earlier
        return found

    def _logged_before(self, part: PartRow) -> tuple[float, float]:
        """Hours and seed (kg) of the part's runs before the day on which its earlier work stood."""
        hours, seed = 0.0, 0.0
        if part.used_on is None:
            return hours, seed
        end = self.start_of(part.used_on)
        for row in self.fittings_of[part.id]:
            last = end if row.removed is None else min(row.removed, end)
            if row.fitted < last:
                position = self.positions[row.position_id]
                timeline = self.timelines[position.press_id]
                kilograms = float(timeline.kilograms(row.fitted, last, position.barrel or None).sum())
                hours += float(timeline.hours(row.fitted, last)[0])
                seed += kilograms * (1.0 if position.barrel in timeline.barrel_lanes else position.share)
        return hours, seed


@dataclass(frozen=True)
class Earlier:
    """Work that a part had done before this log: hours of its press, and seed through it."""

    worked_h: float = 0.0
    seed_kg: float = 0.0


NOTHING_EARLIER = Earlier()
_NONE = np.zeros(0)
_NO_NUMBERS = np.zeros(0, dtype=np.int64)
NO_RUNS = RunColumns(
    id=_NO_NUMBERS,
    start=_NONE,
    end=_NONE,
    recorded_h=_NONE,
    seed_kg=_NONE,
    crop=_NO_NUMBERS,
    slot=_NO_NUMBERS,
    through=None,
    drive_hz=_NONE,
    moisture_pct=_NONE,
    purge=np.zeros(0, dtype=np.bool_),
    seed_how=_NO_NUMBERS,
    going_on=_NONE,
    slot_going_on=_NO_NUMBERS,
)


def load(as_of: date) -> Record:
    """The log as it stood at 24:00 of the day in the mill's zone. Reads only."""
    return record_as_of(load_log(), as_of)


def record_as_of(log: Log, as_of: date, before: tuple[Log, Record] | None = None) -> Record:
    """The part of the log that was known at the end of a day. Each table, and the runs and readings of each
    press, are read when they are first asked for.

    before: an earlier state of the log with its record of the same day; what was computed there from what is
    still the same is taken over."""
    made = _RecordOfLog(log, as_of)
    if before is not None:
        old_log, old = before
        if old.as_of == as_of and log.carries_on(old_log):
            made.take_over(old_log, old)
    return made


class _RecordOfLog(Record):
    """A record whose tables are cut out of the log when they are first asked for."""

    def __init__(self, log: Log, as_of: date) -> None:
        end = datetime.combine(as_of + timedelta(days=1), time.min, log.zone).timestamp()
        crop_ids = tuple(pk for pk, _ in log.setup.crops)

        def runs(presses: list[int]) -> dict[int, RunColumns]:
            whole = log.of_press.several(presses)
            cut = {press: of.runs.upto(end, crop_ids) for press, of in whole.items() if of.runs is not None}
            return {press: rows for press, rows in cut.items() if rows.start.size or rows.going_on.size}

        def readings(presses: list[int]) -> dict[int, ReadingColumns]:
            whole = log.of_press.several(presses)
            cut = {press: of.readings.upto(end) for press, of in whole.items() if of.readings is not None}
            return {press: rows for press, rows in cut.items() if rows.at.size}

        vars(self).update(
            _log=log,
            as_of=as_of,
            zone=log.zone,
            units=log.setup.units,
            end=end,
            crops=tuple(code for _, code in log.setup.crops),
            presses={pk: _press(row, as_of) for pk, row in log.setup.presses.items()},
            runs=ByPress(log.setup.presses, runs),
            readings=ByPress(log.setup.presses, readings),
        )

    def __getattr__(self, name: str) -> object:
        """Called for an attribute that is not there yet."""
        cut = _CUTS.get(name)
        if cut is None:
            raise AttributeError(name)
        made = vars(self)[name] = cut(vars(self)["_log"], self.as_of, self.end)
        return made

    def take_over(self, old_log: Log, old: Record) -> None:
        log: Log = vars(self)["_log"]
        for name in LogVersion.TABLES:
            if name in vars(old) and log.versions.tables[name] == old_log.versions.tables[name]:
                vars(self)[name] = vars(old)[name]
        known = old_log.versions.presses
        same = {
            press
            for press, of in log.versions.presses.items()
            if press in known and known[press].runs == of.runs
        }
        # Runs are read when they are first asked for, perhaps after a later write. So what was computed from
        # runs and readings is taken over with those that it was computed from. They are looked up after it,
        # since others may be at work on `old`.
        hours, timelines = _made(old.hours), _made(old.timelines)
        runs, readings = _made(old.runs), _made(old.readings)
        same &= hours.keys()
        vars(self).update(
            runs=vars(self)["runs"].knowing({press: runs.get(press) for press in same}),
            readings=vars(self)["readings"].knowing({press: readings.get(press) for press in same}),
            hours=self.by_press(self._hours, hours, same),
            timelines=self.by_press(self._timelines, timelines, same),
        )


def _made(values: Mapping[int, Kind]) -> Mapping[int, Kind]:
    return values.made if isinstance(values, ByPress) else values


_CUTS: Mapping[str, Callable[[Log, date, float], object]] = {
    "positions": lambda log, as_of, end: log.setup.positions,
    "types": lambda log, as_of, end: log.setup.types,
    "parts": lambda log, as_of, end: {pk: _part(row, as_of) for pk, row in log.work.parts.items()},
    "rules": lambda log, as_of, end: log.setup.rules,
    "fittings": lambda log, as_of, end: tuple(
        _fitting(row, end) for row in log.work.fittings if row.fitted < end
    ),
    "services": lambda log, as_of, end: tuple(row for row in log.work.services if row.done < end),
    "measurements": lambda log, as_of, end: tuple(row for row in log.work.measurements if row.measured < end),
    "incidents": lambda log, as_of, end: tuple(row for row in log.work.incidents if row.happened < end),
    "plan": lambda log, as_of, end: tuple(
        row for row in log.setup.plan if row.planned_on is None or row.planned_on <= as_of
    ),
    "range_factors": lambda log, as_of, end: range_factors_on(log, as_of),
}
"""By field of the record: how it is cut out of the log."""


def range_factors_on(log: Log, day: date) -> RangeFactors:
    """The factors that had been learned by the day; where none had, ranges stand as given."""
    known = reversed(log.setup.range_factors)
    return next((factors for since, factors in known if since <= day), RangeFactors())


def _press(row: PressRow, as_of: date) -> PressRow:
    return replace(row, retired_on=None) if row.retired_on is not None and row.retired_on > as_of else row


def _part(row: PartRow, as_of: date) -> PartRow:
    if row.used_on is not None and row.used_on > as_of:
        row = replace(row, used_h=0.0, used_kg=0.0, used_on=None)
    if row.retired_on is not None and row.retired_on <= as_of:
        return row
    return replace(row, retired_on=None, retired_because="")


def _fitting(row: FittingRow, end: float) -> FittingRow:
    return replace(row, removed=None) if row.removed is not None and row.removed >= end else row
