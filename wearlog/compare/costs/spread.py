"""Amounts that belong to a press and a season, divided among its runs in proportion to their seed.

Costs of a season in which the press did not run go to its next season with runs, else to its last one. Those
of a press that never ran belong to no run; they are kept apart.
"""

from __future__ import annotations

from collections import defaultdict
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from wearlog.compare.runtable import Floats, Places, RunTable
from wearlog.runs.seasons import season_years


class Spread:
    """`start`: month and day on which a season begins."""

    def __init__(self, table: RunTable, zone: ZoneInfo, start: tuple[int, int]) -> None:
        self.seed, self.zone, self.start = table.seed_kg, zone, start
        years = season_years(table.started, start, zone)
        self.runs: dict[int, dict[int, Places]] = defaultdict(dict)
        useful = np.flatnonzero(~table.purge & (table.seed_kg > 0))
        key = table.press[useful] * 10_000 + years[useful]
        order = np.argsort(key, kind="stable")
        borders = np.flatnonzero(np.diff(key[order])) + 1
        for group in np.split(useful[order], borders):
            if group.size:
                self.runs[int(table.press[group[0]])][int(years[group[0]])] = group

    def add(self, column: Floats, press: Places, at: Floats, amount: Floats) -> npt.NDArray[np.bool_]:
        """Divide amounts, each spent on a press at an instant, shape (n,), among the runs. False for those on
        a press that never ran."""
        sums: dict[tuple[int, int], float] = defaultdict(float)
        ran = np.zeros(press.size, dtype=np.bool_)
        years = season_years(at, self.start, self.zone).tolist()
        for place, (one, year, money) in enumerate(zip(press.tolist(), years, amount.tolist(), strict=True)):
            seasons = self.runs.get(one)
            if seasons:
                ran[place] = True
                chosen = (
                    year
                    if year in seasons
                    else min((own for own in seasons if own > year), default=max(seasons))
                )
                sums[one, chosen] += money
        for (one, chosen), money in sums.items():
            runs = self.runs[one][chosen]
            column[runs] += money * self.seed[runs] / self.seed[runs].sum()
        return ran
