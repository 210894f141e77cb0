"""Oil, cake and energy of runs. Not every forecast needs these columns, so that they are read when first
needed.

They are cached per press, like the runs themselves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from wearlog.history import sealed
from wearlog.history.cache import RunsCache
from wearlog.history.rows import Floats, Ints
from wearlog.runs.models import Run

Columns = Mapping[str, Floats]
"""By name, shape (n,) each; NaN where nothing was recorded."""


@dataclass(frozen=True, eq=False)
class _OfPress:
    """The columns of one press's runs; `id` is sorted."""

    id: Ints
    columns: Columns

    def of(self, ids: Ints) -> Columns:
        """The columns of these runs, in their order; NaN for a run that is not here."""
        here = self.here(ids)
        place = np.searchsorted(self.id, ids[here])
        found = {name: np.full(ids.size, np.nan) for name in self.columns}
        for name, column in found.items():
            column[here] = self.columns[name][place]
        return found

    def here(self, ids: Ints) -> Ints:
        """The indexes of those of `ids` that are present here."""
        place = np.searchsorted(self.id, ids)
        within = np.flatnonzero(place < self.id.size)
        found: Ints = within[self.id[place[within]] == ids[within]]
        return found


MOST_MB = 64
"""Each group of columns takes so much memory in a process at most: a million runs' at once."""


class RunExtras:
    """A group of columns of runs that are always read together, with its cache."""

    def __init__(self, *names: str) -> None:
        self.names = names
        self._kept: RunsCache[_OfPress] = RunsCache(
            f"{', '.join(names)} of each press's runs", most_mb=MOST_MB
        )

    @property
    def nothing(self) -> Columns:
        """The same columns with no rows."""
        return {name: np.zeros(0) for name in self.names}

    def of(self, runs: Mapping[int, Ints], *, every: bool = False) -> dict[int, Columns]:
        """The columns of these runs, by press and in the given order: `runs` maps the primary key of each
        press to those of its runs. `every` says that these are all runs, which are faster to read without a
        condition.

        Runs written to the database directly, not through the actions of the log, raise no version; if one of
        them is asked for, its press is read again."""

        def read(presses: list[int]) -> dict[int, _OfPress]:
            wanted = {press_id: runs[press_id] for press_id in presses}
            return self._read(wanted, every=every and len(wanted) == len(runs), stored=True)

        kept = self._kept.get(runs, read)
        lacking = [press_id for press_id, ids in runs.items() if kept[press_id].here(ids).size < ids.size]
        if lacking:
            kept |= self._read({press_id: runs[press_id] for press_id in lacking}, every=False, stored=False)
        return {press_id: kept[press_id].of(ids) for press_id, ids in runs.items()}

    def _read(self, runs: Mapping[int, Ints], *, every: bool, stored: bool) -> dict[int, _OfPress]:
        seals = sealed.sealed(runs.keys(), sealed.GIVEN) if stored else {}
        rows = Run.objects.not_voided().filter(sealed.open_runs(runs.keys(), seals, every=every))
        tables = sealed.split(sealed.given_columns(rows, runs.keys(), self.names), seals)
        found = {}
        for press_id, ids in runs.items():
            own = tables.get(press_id, {**self.nothing, "id": np.zeros(0)})
            keys = own["id"].astype(np.int64)
            order = np.argsort(keys)
            whole = _OfPress(keys[order], {name: own[name][order] for name in self.names})
            not_voided = np.sort(ids[whole.here(ids)])
            found[press_id] = _OfPress(not_voided, whole.of(not_voided))
        return found


WEIGHED = RunExtras("oil_kg", "cake_kg", "energy_kwh")
ANALYSED = RunExtras("oil_kg", "seed_oil_pct", "cake_oil_pct")
