"""Runs that hardly ever change any more, stored once more as arrays, so that a process that has just started
need not read them row by row.

For each press the runs that began before a day are sealed: stored as one row of bytes with the version of the
press's runs at which they were read. A write that touches none of them carries that version on
(`versions.touch`); any other write, and any that does not say what it touches, leaves it behind, and the
sealed runs are not used any more until a worker has sealed anew. The log stays the truth: what is missing,
broken or made by other code is read from its rows.
"""

from __future__ import annotations

import sys
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import cast

import numpy as np
from django.db import connection
from django.db.models import F, Q, QuerySet

from wearlog.history import packing, versions
from wearlog.history.cache import RunsCache
from wearlog.history.models import SealedRuns
from wearlog.runs import columns as column_reader
from wearlog.runs import hours
from wearlog.runs.columns import ANY, Flags, Floats, columns, seconds_of
from wearlog.runs.models import Run

FOR_FORECASTS, GIVEN = "runs", "given"
"""The two groups of columns, stored apart: what forecasts read, and what runs gave."""
GIVEN_COLUMNS = ("oil_kg", "cake_kg", "energy_kwh", "seed_oil_pct", "cake_oil_pct")

Table = Mapping[str, Floats]
"""Columns of one press's runs by name, shape (n,) each; `id` and `started_at` are among them."""


@cache
def shape() -> str:
    """A digest of all code that has a share in what the columns mean."""
    from wearlog.history import rows, runs, sealing  # they import this module

    own = sys.modules[__name__]
    return packing.shape_of(own, packing, sealing, runs, rows, column_reader, hours)


@dataclass(frozen=True, eq=False)
class Seal:
    """The sealed runs of one press. until: all runs that began before this instant (seconds since 1970) are
    among them, but for rows added past the actions of the log, which have larger keys than `last_run`."""

    until: float
    last_run: int
    columns: Table
    through: Mapping[int, str]

    def leaves_open(self, ids: Floats, started: Floats) -> Flags:
        """Which of these runs of the press are not sealed."""
        return (started >= self.until) | (ids > self.last_run)


def sealed(presses: Collection[int], group: str) -> dict[int, Seal]:
    """The valid seals of these presses. One query, or none where no press has one or nothing may be taken
    from a cache."""
    if connection.in_atomic_block or not shape():
        return {}
    known = versions.latest().presses
    wanted = [press for press in presses if press in known and known[press].sealed]
    if not wanted:
        return {}
    packed = _beside(wanted, group)
    if packed is None:
        packed = _stored(wanted, group)
    found = {}
    for press_id, one in packed.items():
        try:
            arrays, notes = packing.unpack(one.columns)
        except packing.BadPack:
            continue
        texts = {int(key): str(text) for key, text in cast("list[tuple[int, str]]", notes or [])}
        found[press_id] = Seal(one.until, one.last_run, cast("Table", arrays), texts)
    return found


@dataclass(frozen=True)
class _Packed:
    until: float
    last_run: int
    columns: bytes


FEW = 4
"""For so many presses both groups of columns are read at once: a page of one press mostly needs both."""
_BESIDE: RunsCache[dict[str, _Packed]] = RunsCache("sealed runs read beside others", most=FEW)


def _stored(presses: Collection[int], group: str) -> dict[int, _Packed]:
    rows = SealedRuns.objects.filter(press_id__in=presses, shape=shape(), press__version__runs=F("number"))
    groups = (FOR_FORECASTS, GIVEN) if len(presses) <= FEW else (group,)
    found = {
        press_id: {
            name: _Packed(seconds_of(until), last, bytes(one))
            for name, one in zip(groups, packed, strict=True)
        }
        for press_id, until, last, *packed in rows.values_list("press_id", "until", "last_run", *groups)
    }
    if len(groups) > 1:
        _BESIDE.get(presses, lambda some: {press: found[press] for press in some if press in found})
    return {press_id: packed[group] for press_id, packed in found.items()}


def _beside(presses: Collection[int], group: str) -> dict[int, _Packed] | None:
    """What was read of these presses along with another group; None where it must be read."""
    if len(presses) > FEW:
        return None
    found = _BESIDE.get(presses, lambda _some: {})
    return {press: found[press][group] for press in presses} if len(found) == len(presses) else None


def open_runs(presses: Collection[int], seals: Mapping[int, Seal], *, every: bool) -> Q:
    """The condition for all runs of these presses that are not sealed, and perhaps some that are. every: they
    are all presses."""
    if not seals:
        return Q() if every else Q(press_id__in=presses)
    first = datetime.fromtimestamp(min(seal.until for seal in seals.values()), tz=UTC)
    condition = Q(started_at__gte=first) | Q(pk__gt=min(seal.last_run for seal in seals.values()))
    if not every:
        condition &= Q(press_id__in=seals.keys())
    rest = [press for press in presses if press not in seals]
    return condition | Q(press_id__in=rest) if rest else condition


def split(table: Table, seals: Mapping[int, Seal]) -> dict[int, dict[str, Floats]]:
    """The columns of each press, `press_id` being one of the table's: the open runs of the table together
    with those that are sealed. Presses without runs are absent."""
    found: dict[int, dict[str, Floats]] = {}
    names = [name for name in table if name != "press_id"]
    order = np.argsort(table["press_id"], kind="stable")
    presses, starts = np.unique(table["press_id"][order], return_index=True)
    rows_of = dict(zip(presses.astype(int).tolist(), np.split(order, starts[1:]), strict=False))
    for press_id in dict.fromkeys((*seals, *rows_of)):
        own = rows_of.get(press_id, np.zeros(0, dtype=np.int64))
        seal = seals.get(press_id)
        if seal is None:
            found[press_id] = {name: table[name][own] for name in names}
            continue
        own = own[seal.leaves_open(table["id"][own], table["started_at"][own])]
        found[press_id] = {name: np.concatenate((seal.columns[name], table[name][own])) for name in names}
    return found


def given_columns(rows: QuerySet[Run], presses: Collection[int], names: Iterable[str]) -> dict[str, Floats]:
    """What runs gave, and the columns by which `split` tells them apart. One query."""
    return columns(
        rows,
        numbers=tuple(names),
        instants=("started_at",),
        small={"press_id": max(presses, default=0) + 1 + hours.MEANWHILE, "id": ANY},
    )
