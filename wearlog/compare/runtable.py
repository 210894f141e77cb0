"""All runs that have ended, as arrays: what comparisons are made of."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from django.db import connection
from django.db.models import Case, Count, Max, When

from wearlog.equipment.models import HoursFrom, Press
from wearlog.history import versions
from wearlog.runs.hours import ends_by, readings_of, run_columns, worked_out
from wearlog.runs.models import Crop, Run, SeedHow

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
    found = run_columns(
        Run.objects.standing().annotate(guessed=Case(When(seed_how=SeedHow.WORKED_OUT, then=1), default=0)),
        numbers=("crop_id", "seed_kg", "oil_kg", "cake_kg", "energy_kwh"),
        flags=("purge", "guessed"),
    )
    press = _places(found["press_id"], [row[0] for row in presses])
    hours = _hours(presses, press, found)
    ended = ~np.isnan(found["ended_at"]) | ~np.isnan(found["hours_h"])
    return RunTable(
        press_codes=tuple(row[1] for row in presses),
        press_names=tuple(row[2] or row[1] for row in presses),
        crop_codes=tuple(row[1] for row in crops),
        press=press[ended],
        crop=_places(found["crop_id"], [row[0] for row in crops])[ended],
        started=found["started_at"][ended],
        hours=hours[ended],
        seed_kg=found["seed_kg"][ended],
        oil_kg=found["oil_kg"][ended],
        cake_kg=found["cake_kg"][ended],
        energy_kwh=found["energy_kwh"][ended],
        purge=found["purge"][ended] > 0,
        worked_out=found["guessed"][ended] > 0,
        running=int(np.count_nonzero(~ended)),
    )


def _places(keys: Floats, known: list[int]) -> Places:
    """For each key its place in `known`."""
    found: Places = keys.astype(np.int64)
    if not found.size:
        return found
    order = np.argsort(known)
    places: Places = order[np.searchsorted(np.array(known)[order], found)].astype(np.int64)
    return places


def _hours(presses: list[tuple[int, str, str, str]], press: Places, runs: Mapping[str, Floats]) -> Floats:
    """What each run has of its press's hours, which count each moment once; nan where there are none."""
    hours = np.full(press.size, np.nan)
    readings = readings_of([pk for pk, *_ in presses])
    ends = ends_by(runs["started_at"], runs["ended_at"], runs["hours_h"])
    for place, (pk, _code, _name, hours_from) in enumerate(presses):
        mine = np.flatnonzero(press == place)
        hours[mine] = worked_out(
            start=runs["started_at"][mine],
            end=ends[mine],
            recorded_h=runs["hours_h"][mine],
            slot=runs["slot"][mine].astype(np.int64),
            readings=readings.get(pk),
            by_meter=hours_from == HoursFrom.METER,
        ).press_h
    # No hours beside seed is a missing figure, not a press that is infinitely fast.
    return np.where(hours > 0, hours, np.nan)
