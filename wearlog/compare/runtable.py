"""All runs that have ended, as arrays: the data of comparisons."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from wearlog.history import versions
from wearlog.history.cache import VersionCache
from wearlog.history.log import press_rows
from wearlog.history.rows import WORKED_OUT
from wearlog.history.runs import NO_RUNS, PressRuns, last_and_count, runs_and_readings
from wearlog.history.yields import WEIGHED, Columns
from wearlog.runs.models import Crop

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]
Kind = TypeVar("Kind", bound=np.generic)


@dataclass(frozen=True)
class RunTable:
    """Parallel arrays, one entry per run that has ended. `press` and `crop` are indexes into the tuples of
    codes; instants are seconds since 1970; hours, oil, cake and energy are nan where not known."""

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
    """The number of runs that have not ended; they are not counted yet."""


_KEPT: VersionCache[tuple[int, int], RunTable] = VersionCache("the runs in one table", most=1)


def load() -> RunTable:
    """The runs as they are now, cached until the log changes.

    The last primary key and the number of runs are part of the key beside the log's version, so that rows
    written to the database directly, not through the actions of the log, are noticed too.
    """
    number = versions.current()
    seen = last_and_count()
    return _KEPT.get(seen, lambda: _table(seen), number=number)


def _natural(code: str) -> tuple[object, ...]:
    """A sort key that puts P2 before P10."""
    return tuple(
        (0, int(part), "") if part.isdecimal() else (1, 0, part) for part in re.split(r"(\d+)", code)
    )


def _table(seen: tuple[int, int]) -> RunTable:
    """The table of all runs that have ended, in order of their primary keys."""
    known = press_rows()
    presses = sorted(known.values(), key=lambda press: _natural(press.code))
    crops = list(Crop.objects.order_by("code").values_list("pk", "code"))
    of_press = runs_and_readings(known, seen=seen)
    runs = {press_id: found.runs for press_id, found in of_press.items() if found.runs is not None}
    given = WEIGHED.of({press_id: own.id for press_id, own in runs.items()}, every=True)
    nothing = _OfPress(0, NO_RUNS, np.zeros(0), WEIGHED.nothing)
    parts = [
        _OfPress(
            place,
            runs[press.id],
            of_press[press.id].press_hours(by_meter=press.by_meter),
            given[press.id],
        )
        for place, press in enumerate(presses)
        if press.id in runs
    ]

    def joined(column: Callable[[_OfPress], npt.NDArray[Kind]]) -> npt.NDArray[Kind]:
        return np.concatenate([column(nothing), *(column(part) for part in parts)])

    ended = joined(lambda part: ~(np.isnan(part.runs.ended) & np.isnan(part.runs.recorded_h)))
    order = np.argsort(joined(lambda part: part.runs.id))
    order = order[ended[order]]
    return RunTable(
        press_codes=tuple(press.code for press in presses),
        press_names=tuple(press.label for press in presses),
        crop_codes=tuple(code for _, code in crops),
        press=joined(lambda part: np.full(part.runs.id.size, part.place, dtype=np.int64))[order],
        crop=_places(joined(lambda part: part.runs.crop_id)[order], [pk for pk, _ in crops]),
        started=joined(lambda part: part.runs.start)[order],
        # A run with seed but 0 hours lacks a figure; it does not mean that the press is infinitely fast.
        hours=joined(lambda part: np.where(part.hours > 0, part.hours, np.nan))[order],
        seed_kg=joined(lambda part: part.runs.seed_kg)[order],
        oil_kg=joined(lambda part: part.given["oil_kg"])[order],
        cake_kg=joined(lambda part: part.given["cake_kg"])[order],
        energy_kwh=joined(lambda part: part.given["energy_kwh"])[order],
        purge=joined(lambda part: part.runs.purge)[order],
        worked_out=joined(lambda part: part.runs.seed_how == WORKED_OUT)[order],
        running=int(np.count_nonzero(~ended)),
    )


@dataclass(frozen=True)
class _OfPress:
    """What the table takes from one press, whose index in it is `place`."""

    place: int
    runs: PressRuns
    hours: Floats
    given: Columns


def _places(keys: Places, known: list[int]) -> Places:
    """For each key its index in `known`."""
    if not keys.size:
        return keys
    order = np.argsort(known)
    places: Places = order[np.searchsorted(np.array(known)[order], keys)].astype(np.int64)
    return places
