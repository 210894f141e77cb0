"""All runs that have ended, as arrays: what comparisons are made of."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from django.db import connection
from django.db.models import Count, Max, QuerySet

from wearlog.calc.exposure import timeline_of
from wearlog.calc.meters import SAME_MOMENT_S, counted_hours, hours_of_runs
from wearlog.equipment.models import HoursFrom, Press
from wearlog.forecasts import versions
from wearlog.forecasts.columns import number, seconds
from wearlog.runs.models import Crop, Reading, ReadingKind, Run, SeedHow

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]


@dataclass(frozen=True)
class RunTable:
    """Parallel arrays, one entry per run that has ended. `press` and `crop` are places in the two tuples;
    instants are epoch seconds; hours, oil, cake and energy are nan where not
    known."""

    press_codes: tuple[str, ...]
    press_names: tuple[str, ...]
    crop_codes: tuple[str, ...]
    press: Places
    crop: Places
    started: Floats
    hours: Floats
    seed_kg: Floats
    oil_kg: Floats
    cake_kg: Floats
    energy_kwh: Floats
    purge: npt.NDArray[np.bool_]
    worked_out: npt.NDArray[np.bool_]
    """Runs whose seed was worked out from the usual rate: they count in no rate."""
    running: int
    """Runs that have not ended; they count nowhere yet."""


_kept: dict[str, tuple[tuple[object, ...], RunTable]] = {}


def load() -> RunTable:
    """The runs as they stand now. Kept in memory until the log changes.

    The last number and the count of runs stand in the key beside the log's version, so that rows which came
    in by another way than the log's own door are seen too. Within a transaction nothing is kept, since that
    may yet be rolled back.
    """
    version = versions.current()
    key = (version, *Run.objects.aggregate(last=Max("pk"), count=Count("pk")).values())
    lasting = version > 0 and not connection.in_atomic_block
    kept = _kept.get("runs")
    if kept is not None and kept[0] == key and lasting:
        return kept[1]
    table = _read()
    if lasting:
        _kept["runs"] = (key, table)
    return table


def _natural(code: str) -> tuple[object, ...]:
    """Sorts P2 before P10."""
    return tuple(
        (0, int(part), "") if part.isdecimal() else (1, 0, part) for part in re.split(r"(\d+)", code)
    )


def _read() -> RunTable:
    presses = sorted(
        Press.objects.values_list("pk", "code", "name", "hours_from"), key=lambda row: _natural(row[1])
    )
    crops = list(Crop.objects.order_by("code").values_list("pk", "code"))
    standing = Run.objects.standing()
    rows = _fetched(
        standing.filter(ends_at__isnull=False)
        .order_by()
        .values_list(
            "press_id",
            "crop_id",
            seconds("started_at"),
            seconds("ends_at"),
            number("hours_h"),
            number("seed_kg"),
            number("oil_kg"),
            number("cake_kg"),
            number("energy_kwh"),
            "purge",
            "slot",
            "seed_how",
        )
    )
    columns = zip(*rows, strict=True) if rows else ([] for _ in range(12))
    press_id, crop_id, start, end, recorded, seed, oil, cake, energy, purge, slot, how = columns
    press = _places(press_id, [row[0] for row in presses])
    started, ended = np.array(start, dtype=np.float64), np.array(end, dtype=np.float64)
    hours = _hours(
        presses,
        press,
        started,
        ended,
        np.array(recorded, dtype=np.float64),
        np.array(slot, dtype=np.int64),
    )
    return RunTable(
        press_codes=tuple(row[1] for row in presses),
        press_names=tuple(row[2] or row[1] for row in presses),
        crop_codes=tuple(row[1] for row in crops),
        press=press,
        crop=_places(crop_id, [row[0] for row in crops]),
        started=started,
        hours=hours,
        seed_kg=np.array(seed, dtype=np.float64),
        oil_kg=np.array(oil, dtype=np.float64),
        cake_kg=np.array(cake, dtype=np.float64),
        energy_kwh=np.array(energy, dtype=np.float64),
        purge=np.array(purge, dtype=np.bool_),
        worked_out=np.array([word == SeedHow.WORKED_OUT.value for word in how], dtype=np.bool_),
        running=standing.filter(ends_at__isnull=True).count(),
    )


def _fetched(columns: QuerySet[Run, tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """The rows as the database driver gives them: twice as fast as through the model's converters, which
    plain numbers don't need."""
    sql, params = columns.query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(sql, params)
        rows: list[tuple[Any, ...]] = cursor.fetchall()
    return rows


def _places(keys: Iterable[int], known: list[int]) -> Places:
    """For each key its place in `known`."""
    found = np.array(list(keys), dtype=np.int64)
    if not found.size:
        return found
    order = np.argsort(known)
    places: Places = order[np.searchsorted(np.array(known)[order], found)].astype(np.int64)
    return places


def _hours(
    presses: list[tuple[int, str, str, str]],
    press: Places,
    started: Floats,
    ended: Floats,
    recorded: Floats,
    slot: Places,
) -> Floats:
    """Hours of each run by its press's rule, nan where there are none.

    A press whose hours come from its meter: what the meter counted between the run's start and its end,
    even between readings; a run that reaches beyond the readings has none. Any other: the hours recorded,
    else the meter's difference where a reading stands at the run's end, else the clock. Where two barrels
    pressed under runs of their own at the same time, the press's hours count once and are shared among
    those runs.
    """
    meters = _meters()
    hours = np.full(press.size, np.nan)
    for place, (pk, _code, _name, hours_from) in enumerate(presses):
        mine = np.flatnonzero(press == place)
        start, end = started[mine], ended[mine]
        at, meter_h, new_meter = meters.get(pk, NO_METER)
        counted = counted_hours(meter_h, new_meter)
        if hours_from == HoursFrom.METER and at.size > 1:
            own = _counted_at(end, at, counted) - _counted_at(start, at, counted)
        else:
            own = hours_of_runs(start, end, recorded[mine], at, counted, new_meter)
        hours[mine] = _once(start, end, own, slot[mine])
    # No hours beside seed is a missing figure, not a press that is infinitely fast.
    return np.where(hours > 0, hours, np.nan)


def _counted_at(instants: Floats, at: Floats, counted: Floats) -> Floats:
    """The meter's count at each instant, even between readings; nan before the first and after the last."""
    count: Floats = np.interp(instants, at, counted)
    outside = (instants < at[0] - SAME_MOMENT_S) | (instants > at[-1] + SAME_MOMENT_S)
    count[outside] = np.nan
    return count


def _once(start: Floats, end: Floats, hours: Floats, slot: Places) -> Floats:
    """The runs' hours, scaled down where runs through different barrels overlap, so that they sum to the
    press's hours."""
    if not (slot > 0).any():
        return hours
    barrels = np.where(slot > 0, slot.astype(np.str_), "1 2").tolist()
    timeline = timeline_of(
        start=start,
        end=end,
        hours=hours,
        kilograms=hours,
        crop=np.zeros(start.size, dtype=np.int64),
        crops=1,
        shares={"1": 0.5, "2": 0.5},
        through=barrels,
    )
    order = np.argsort(start, kind="stable")
    reach = np.maximum.accumulate(end[order])
    opens = np.concatenate(([True], start[order][1:] >= reach[:-1]))
    group = np.cumsum(opens) - 1
    first = start[order][opens]
    last = np.maximum.reduceat(end[order], np.flatnonzero(opens))
    of_press = timeline.hours(first, last)
    of_runs = np.bincount(group, weights=hours[order])
    # A run without length stands outside its span [a, a): it keeps its hours.
    scale = np.divide(of_press, of_runs, out=np.ones_like(of_runs), where=(of_runs > 0) & (last > first))
    shared = np.empty_like(hours)
    shared[order] = hours[order] * scale[group]
    return shared


NO_METER = (np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.bool_))


def _meters() -> dict[int, tuple[Floats, Floats, npt.NDArray[np.bool_]]]:
    """The readings of each press in order of time: instant, meter, whether a new meter begins there."""
    rows: dict[int, list[tuple[float, float, bool]]] = {}
    readings = Reading.objects.standing().order_by("press_id", "read_at", "pk")
    for pk, at, meter_h, kind in readings.values_list(
        "press_id", seconds("read_at"), number("meter_h"), "kind"
    ).iterator(chunk_size=20_000):
        rows.setdefault(pk, []).append((at, meter_h, kind == ReadingKind.NEW_METER))
    return {
        pk: (
            np.array([entry[0] for entry in entries], dtype=np.float64),
            np.array([entry[1] for entry in entries], dtype=np.float64),
            np.array([entry[2] for entry in entries], dtype=np.bool_),
        )
        for pk, entries in rows.items()
    }
