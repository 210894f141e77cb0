"""What runs gave and took: columns beside those that forecasts need, read when a comparison first asks.

They are kept per press, as the runs themselves are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from wearlog.history.cache import RunsShelf
from wearlog.history.rows import Floats, Ints
from wearlog.runs import hours
from wearlog.runs.models import Run

COLUMNS = ("oil_kg", "cake_kg", "energy_kwh", "seed_oil_pct", "cake_oil_pct")


@dataclass(frozen=True, eq=False)
class Yields:
    """Of the runs `id`, shape (n,) each; NaN where nothing was recorded."""

    id: Ints
    oil_kg: Floats
    cake_kg: Floats
    energy_kwh: Floats
    seed_oil_pct: Floats
    cake_oil_pct: Floats

    def of(self, ids: Ints) -> Yields:
        """Those of these runs, in their order; NaN for a run that is not here. Needs `id` in order."""
        place, here = self._places(ids)
        found = {name: np.full(ids.size, np.nan) for name in COLUMNS}
        for name, column in found.items():
            column[here] = getattr(self, name)[place[here]]
        return Yields(id=ids, **found)

    def has(self, ids: Ints) -> bool:
        return self._places(ids)[1].size == ids.size

    def _places(self, ids: Ints) -> tuple[Ints, Ints]:
        """The place of each run here, and for which of them that is true."""
        place = np.searchsorted(self.id, ids)
        within = np.flatnonzero(place < self.id.size)
        return place, within[self.id[place[within]] == ids[within]]


NO_YIELDS = Yields(np.zeros(0, dtype=np.int64), *(np.zeros(0) for _ in COLUMNS))
_KEPT: RunsShelf[Yields] = RunsShelf("what the runs of each press gave")


def yields_of(runs: Mapping[int, Ints]) -> dict[int, Yields]:
    """What these runs gave, in their order, by press: `runs` names them by the key of their press.

    Runs that came in by another way than the log's own door raise no version; where one of them is asked
    for, its press is read again."""
    kept = _KEPT.get(runs, _read)
    lacking = [press_id for press_id, ids in runs.items() if not kept[press_id].has(ids)]
    if lacking:
        kept |= _read(lacking)
    return {press_id: kept[press_id].of(ids) for press_id, ids in runs.items()}


def _read(presses: list[int]) -> dict[int, Yields]:
    table = hours.run_columns(Run.objects.standing().filter(press_id__in=presses), numbers=COLUMNS)
    found = {}
    for press_id in presses:
        own = np.flatnonzero(table["press_id"] == press_id)
        own = own[np.argsort(table["id"][own])]
        found[press_id] = Yields(
            id=table["id"][own].astype(np.int64), **{name: table[name][own] for name in COLUMNS}
        )
    return found
