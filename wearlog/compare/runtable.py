"""All runs that have ended, as arrays: what comparisons are made of."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from django.db.models import Count, FloatField, Max
from django.db.models.functions import Cast

from wearlog.equipment.models import HoursFrom, Press
from wearlog.forecasts.models import LogVersion
from wearlog.runs.models import Crop, Reading, ReadingKind, Run

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]


@dataclass(frozen=True)
class RunTable:
    """Parallel arrays, one entry per run that has ended. `press` and `crop` are places in the two tuples;
    instants are epoch seconds; hours and oil are nan where not known."""

    press_codes: tuple[str, ...]
    press_names: tuple[str, ...]
    crop_codes: tuple[str, ...]
    press: Places
    crop: Places
    started: Floats
    hours: Floats
    seed_kg: Floats
    oil_kg: Floats
    purge: npt.NDArray[np.bool_]
    running: int
    """Runs that have not ended; they count nowhere yet."""


_kept: dict[str, tuple[tuple[object, ...], RunTable]] = {}


def load() -> RunTable:
    """The runs as they stand now. Kept in memory until the log changes.

    The last number and the count of runs stand in the key beside the log's version, so that rows which came
    in by another way than the log's own door are seen too.
    """
    version = LogVersion.current()
    key = (version, *Run.objects.aggregate(last=Max("pk"), count=Count("pk")).values())
    kept = _kept.get("runs")
    if kept is not None and kept[0] == key and version > 0:
        return kept[1]
    table = _read()
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
    press_place = {row[0]: place for place, row in enumerate(presses)}
    crop_place = {row[0]: place for place, row in enumerate(crops)}
    standing = Run.objects.standing()
    rows = list(
        standing.filter(ends_at__isnull=False)
        .order_by("started_at", "pk")
        .values_list(
            "press_id",
            "crop_id",
            "started_at",
            "ends_at",
            Cast("hours_h", FloatField()),
            Cast("seed_kg", FloatField()),
            Cast("oil_kg", FloatField()),
            "purge",
        )
        .iterator(chunk_size=20_000)
    )
    press = np.array([press_place[row[0]] for row in rows], dtype=np.int64)
    started = np.array([row[2].timestamp() for row in rows], dtype=np.float64)
    ended = np.array([row[3].timestamp() for row in rows], dtype=np.float64)
    recorded = np.array([row[4] for row in rows], dtype=np.float64)
    return RunTable(
        press_codes=tuple(row[1] for row in presses),
        press_names=tuple(row[2] or row[1] for row in presses),
        crop_codes=tuple(row[1] for row in crops),
        press=press,
        crop=np.array([crop_place[row[1]] for row in rows], dtype=np.int64),
        started=started,
        hours=_hours(presses, press, started, ended, recorded),
        seed_kg=np.array([row[5] for row in rows], dtype=np.float64),
        oil_kg=np.array([row[6] for row in rows], dtype=np.float64),
        purge=np.array([row[7] for row in rows], dtype=np.bool_),
        running=standing.filter(ends_at__isnull=True).count(),
    )


def _hours(
    presses: list[tuple[int, str, str, str]], press: Places, started: Floats, ended: Floats, recorded: Floats
) -> Floats:
    """Hours of each run by its press's rule.

    A press whose hours come from its meter: the count at the run's end less that at its start, linear
    between readings, nan outside them. Any other: the hours recorded, else the meter's difference where a
    reading stands at the run's end, else the clock.
    """
    clock = (ended - started) / 3600
    hours = np.where(np.isnan(recorded), clock, recorded)
    counts = _meter_counts()
    for place, (pk, _code, _name, hours_from) in enumerate(presses):
        mine = np.flatnonzero(press == place)
        read_at, count = counts.get(pk, (np.zeros(0), np.zeros(0)))
        if hours_from == HoursFrom.METER:
            at_start = (
                np.interp(started[mine], read_at, count, left=np.nan, right=np.nan) if count.size else np.nan
            )
            at_end = (
                np.interp(ended[mine], read_at, count, left=np.nan, right=np.nan) if count.size else np.nan
            )
            hours[mine] = at_end - at_start
        elif count.size > 1:
            unknown = mine[np.isnan(recorded[mine])]
            found = np.searchsorted(read_at, ended[unknown])
            stands = (found > 0) & (found < read_at.size)
            unknown, found = unknown[stands], found[stands]
            exact = read_at[found] == ended[unknown]
            hours[unknown[exact]] = (count[found] - count[found - 1])[exact]
    # Seed with no hours at all is a missing figure, not a press that is infinitely fast.
    return np.where(hours > 0, hours, np.nan)


def _meter_counts() -> dict[int, tuple[Floats, Floats]]:
    """For each press the instants of its readings and the hours counted since the first; a new meter's
    first value continues the count."""
    rows: dict[int, list[tuple[float, float, bool]]] = {}
    readings = Reading.objects.standing().order_by("press_id", "read_at", "pk")
    for pk, read_at, meter_h, kind in readings.values_list(
        "press_id", "read_at", Cast("meter_h", FloatField()), "kind"
    ).iterator(chunk_size=20_000):
        rows.setdefault(pk, []).append((read_at.timestamp(), meter_h, kind == ReadingKind.NEW_METER))
    found = {}
    for pk, entries in rows.items():
        value = np.array([entry[1] for entry in entries])
        step = np.diff(value, prepend=value[0])
        step[np.array([entry[2] for entry in entries])] = 0.0
        found[pk] = (np.array([entry[0] for entry in entries]), np.cumsum(np.maximum(step, 0.0)))
    return found
