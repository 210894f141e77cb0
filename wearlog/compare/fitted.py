"""What was pressed with each press, die, edge, size and screw, crop by crop.

A run belongs to what was fitted when it began; on a press with two barrels to both, each with its share of
seed and hours. Purge runs, runs without hours and runs whose seed was worked out tell no rate.

Residual oil is that of the cake by the laboratory, weighed by the cake's seed; where there is none, from the
mass balance (oil in the seed less the oil that was weighed, in parts of the cake), and said to be estimated.
Work and stand-still are those on the part (on a press: all) in parts of all that was pressed with it.
Availability is that of presses (`calc.availability`): what is out of season, two weeks after the last run or
before the next, counts nowhere. Failures are repairs, replacements of broken parts, and incidents that stop a
press; work within a day after an incident restores it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np

from wearlog.calc.availability import Availability, availability
from wearlog.compare.reliability import OFF_SEASON_S
from wearlog.compare.runtable import Floats, Places, RunTable
from wearlog.compare.runtable import load as load_runs
from wearlog.history.bills import NO_BILL, bills
from wearlog.history.cache import VersionCache
from wearlog.history.record import Record
from wearlog.history.record import load as load_record
from wearlog.history.rows import ServiceRow
from wearlog.history.yields import ANALYSED
from wearlog.service.models import IncidentKind
from wearlog.words.kinds import mark_words

BY = ("press", "die", "edge", "size", "screw")
DAY_S = 86400.0
STOPPING = (IncidentKind.METAL, IncidentKind.PLUGGED, IncidentKind.OVERHEATED, IncidentKind.TRIPPED)


@dataclass(frozen=True)
class FittedLine:
    """`name` is that of the press or part, or a size in mm. Rates are None where nothing on record tells
    them; `estimated`: the residual oil is from the mass balance. Hours of work and stand-still are per tonne
    of all crops."""

    name: str
    crop: str
    runs: int
    tonnes: float
    hours_per_t: float
    oil_pct: float | None
    residual_pct: float | None
    estimated: bool
    kwh_per_t: float | None
    work_h_per_t: float | None
    stood_h_per_t: float | None


@dataclass(frozen=True)
class PressTime:
    press_id: int
    press_name: str
    found: Availability


@dataclass(frozen=True, eq=False)
class _Pressed:
    """Runs, by their rows of the table, with a thing: its key and name, and its share of each."""

    key: tuple[int, str]
    name: str
    rows: Places
    share: float


_KEPT: VersionCache[tuple[date, str], tuple[FittedLine, ...]] = VersionCache(
    "what was pressed with what", most=8
)


def lines(by: str, *, on: date) -> tuple[FittedLine, ...]:
    """A line for each thing and crop, as of a day. Raises ValueError for what is not in `BY`."""
    if by not in BY:
        raise ValueError(f"{by} is none of {', '.join(BY)}")
    return _KEPT.get((on, by), lambda: _lines(by, load_record(on), load_runs()))


def _lines(by: str, record: Record, table: RunTable) -> tuple[FittedLine, ...]:
    residual, estimated = _residual(record, table)
    told = ~table.purge & ~np.isnan(table.hours) & ~table.worked_out & (table.seed_kg > 0)
    groups: dict[tuple[int, str], list[_Pressed]] = defaultdict(list)
    for pressed in _pressed(by, record, table):
        groups[pressed.key].append(pressed)
    work = _work(by, record, groups)
    found = []
    for key, members in groups.items():
        rows = np.concatenate([one.rows for one in members])
        share = np.concatenate([np.full(one.rows.size, one.share) for one in members])
        whole_t = float((share * table.seed_kg[rows])[~table.purge[rows]].sum() / 1000)
        for crop in np.unique(table.crop[rows[told[rows]]]).tolist():
            own = np.flatnonzero(told[rows] & (table.crop[rows] == crop))
            per_t = [None if hours is None or whole_t <= 0 else hours / whole_t for hours in work[key]]
            name, code = members[0].name, table.crop_codes[crop]
            found.append(_line(table, name, code, rows[own], share[own], (residual, estimated), per_t))
    return tuple(sorted(found, key=lambda line: (line.crop, line.hours_per_t, line.name)))


def _line(
    table: RunTable,
    name: str,
    crop: str,
    rows: Places,
    share: Floats,
    residuals: tuple[Floats, Floats],
    work: list[float | None],
) -> FittedLine:
    seed_t = share * table.seed_kg[rows] / 1000

    def rate(values: Floats, weights: Floats | None = None) -> float | None:
        """Of the values to the seed (or of values weighed by it) of the runs that have one."""
        known = ~np.isnan(values)
        if not known.any():
            return None
        amount = (values * share if weights is None else values * weights)[known].sum()
        return float(amount / seed_t[known].sum())

    by_laboratory, by_balance = (rate(residual[rows], seed_t) for residual in residuals)
    oil = rate(table.oil_kg[rows])
    return FittedLine(
        name=name,
        crop=crop,
        runs=rows.size,
        tonnes=float(seed_t.sum()),
        hours_per_t=rate(table.hours[rows]) or 0.0,
        oil_pct=None if oil is None else oil / 10,
        residual_pct=by_balance if by_laboratory is None else by_laboratory,
        estimated=by_laboratory is None,
        kwh_per_t=rate(table.energy_kwh[rows]),
        work_h_per_t=work[0],
        stood_h_per_t=work[1],
    )


def _pressed(by: str, record: Record, table: RunTable) -> Iterator[_Pressed]:
    of_press = {code: np.flatnonzero(table.press == place) for place, code in enumerate(table.press_codes)}
    if by == "press":
        for press in record.presses.values():
            rows = of_press.get(press.code, np.zeros(0, dtype=np.int64))
            if rows.size:
                yield _Pressed((press.id, ""), press.label, rows, 1.0)
        return
    ordered = {code: rows[np.argsort(table.started[rows], kind="stable")] for code, rows in of_press.items()}
    starts = {code: table.started[rows] for code, rows in ordered.items()}
    for row in record.fittings:
        position, part = record.positions[row.position_id], record.parts[row.part_id]
        if position.kind != ("screw" if by == "screw" else "die"):
            continue
        code, type_ = record.presses[position.press_id].code, record.types[part.type_id]
        until = record.end if row.removed is None else row.removed
        first, last = np.searchsorted(starts[code], [row.fitted, until])
        if first == last or (by == "size" and type_.size_mm is None):
            continue
        key = (part.id, row.edge if by == "edge" else "")
        name = mark_words(part.code, row.edge) if by == "edge" else part.code
        if by == "size":
            key, name = (-1, f"{type_.size_mm:g}"), f"{type_.size_mm:g}"
        yield _Pressed(key, name, ordered[code][first:last], position.share if position.barrel else 1.0)


def _residual(record: Record, table: RunTable) -> tuple[Floats, Floats]:
    """Oil left in the cake of each run of the table, in per cent, by the laboratory and by mass balance."""
    by_laboratory, by_balance = (np.full(table.press.size, np.nan) for _ in range(2))
    given = ANALYSED.of({press_id: runs.id for press_id, runs in record.runs.items()}, every=True)
    for press_id, columns in given.items():
        ids = record.runs[press_id].id
        place = np.minimum(np.searchsorted(table.id, ids), max(table.id.size - 1, 0))
        here = table.id[place] == ids
        rows = place[here]
        by_laboratory[rows] = columns["cake_oil_pct"][here]
        in_seed = columns["seed_oil_pct"][here] / 100 * table.seed_kg[rows]
        with np.errstate(divide="ignore", invalid="ignore"):
            share = 100 * (in_seed - table.oil_kg[rows]) / table.cake_kg[rows]
        by_balance[rows] = np.where((share >= 0) & (share <= 100), share, np.nan)
    return by_laboratory, by_balance


def _work(
    by: str, record: Record, groups: dict[tuple[int, str], list[_Pressed]]
) -> dict[tuple[int, str], tuple[float | None, float | None]]:
    """For each thing the hours of work on it and those that the press stood for that; None where no job on it
    says so."""
    sums: dict[tuple[int, str], list[float | None]] = {key: [None, None] for key in groups}
    took = bills()
    for service in record.services:
        key = _key_of(by, record, service)
        if key not in sums:
            continue
        bill = took.get(service.id, NO_BILL)
        for place, hours in enumerate((bill.labour_h, bill.downtime_h)):
            if hours is not None:
                sums[key][place] = (sums[key][place] or 0.0) + hours
    return {key: (own[0], own[1]) for key, own in sums.items()}


def _key_of(by: str, record: Record, service: ServiceRow) -> tuple[int, str]:
    if by == "press":
        return service.press_id, ""
    part = record.parts.get(service.part_id or 0)
    if part is None:
        return 0, ""
    size = record.types[part.type_id].size_mm
    if by == "size":
        return -1, f"{size:g}" if size is not None else ""
    return part.id, service.edge if by == "edge" else ""


def press_times(*, on: date) -> tuple[PressTime, ...]:
    """Availability of each press that has run, over its whole log as of a day."""
    record, table = load_record(on), load_runs()
    took = bills()
    jobs: dict[int, list[ServiceRow]] = defaultdict(list)
    for service in record.services:
        jobs[service.press_id].append(service)
    stopped: dict[int, list[float]] = defaultdict(list)
    for incident in record.incidents:
        if incident.kind in STOPPING:
            stopped[incident.press_id].append(incident.happened)
    found = []
    for place, code in enumerate(table.press_codes):
        rows = np.flatnonzero((table.press == place) & ~np.isnan(table.hours))
        if not rows.size:
            continue
        press = next(row for row in record.presses.values() if row.code == code)
        starts = np.sort(table.started[rows])
        own = [job for job in jobs[press.id] if _in_season(starts, job.done)]
        corrective, failures = _failures(record, own, stopped[press.id])
        stood = {job.id: took.get(job.id, NO_BILL).downtime_h for job in own}
        restored = [stood[pk] for pk in corrective if stood[pk] is not None]
        planned = [hours for pk, hours in stood.items() if hours is not None and pk not in corrective]
        found.append(
            PressTime(
                press.id,
                press.label,
                availability(
                    operating_h=float(table.hours[rows].sum()),
                    planned_h=sum(planned),
                    restoration_h=sum(hours for hours in restored if hours is not None),
                    failures=failures,
                    restored=min(len(restored), failures),
                ),
            )
        )
    return tuple(found)


def _in_season(starts: Floats, at: float) -> bool:
    """Whether the press ran within two weeks before and after."""
    place = int(np.searchsorted(starts, at))
    before = at - starts[place - 1] if place else np.inf
    after = starts[place] - at if place < starts.size else np.inf
    return bool(before < OFF_SEASON_S and after < OFF_SEASON_S)


def _failures(record: Record, jobs: list[ServiceRow], stopped: list[float]) -> tuple[set[int], int]:
    """The work that restored the press after failures, and the number of failures: an incident and the work
    within a day after it are one."""
    corrective, alone = set(), 0
    for instant in stopped:
        after = [job for job in jobs if instant <= job.done < instant + DAY_S and job.id not in corrective]
        corrective |= {job.id for job in after[:1]}
        alone += not after
    for job in jobs:
        part = record.parts.get(job.part_id or 0)
        broken = part is not None and part.retired_because == "broken"
        if job.action == "repair" or (job.action == "replace" and broken):
            corrective.add(job.id)
    return corrective, len(corrective) + alone
