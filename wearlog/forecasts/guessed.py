"""How much of the seed behind a forecast was guessed: written down as "about", or worked out from a rate."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from django.utils.translation import ngettext

from wearlog.forecasts.things import ALWAYS, Span
from wearlog.history.record import Record

NOTICEABLE = 0.1
"""From this share of guessed seed on a forecast says so: our choice, no source."""


@dataclass(frozen=True)
class Guessed:
    """`runs` of `of_runs` runs and `seed_kg` of `of_seed_kg` kilograms were guessed. A run during which parts
    were changed counts in full."""

    runs: int
    of_runs: int
    seed_kg: float
    of_seed_kg: float

    @property
    def is_noticeable(self) -> bool:
        return self.runs > 0 and self.seed_kg >= NOTICEABLE * self.of_seed_kg

    def words(self) -> str:
        """`2 of the 9 runs that this rests on were guessed.`; empty for a share that is not noticeable."""
        if not self.is_noticeable:
            return ""
        return ngettext(
            "%(guessed)s of the %(runs)s run that this rests on was guessed.",
            "%(guessed)s of the %(runs)s runs that this rests on were guessed.",
            self.of_runs,
        ) % {"guessed": self.runs, "runs": self.of_runs}


def guessed_in(record: Record, spans: Iterable[Span], *, since: float = ALWAYS) -> Guessed:
    """The guessed share of the runs that pressed through these places from `since` on (seconds since
    1970)."""
    runs = of_runs = 0
    seed = of_seed = 0.0
    for span in spans:
        table = record.runs.get(span.press_id)
        if table is None:
            continue
        rows = np.flatnonzero((table.end > max(since, span.start)) & (table.start < span.end))
        if span.barrel and table.through is not None:
            names = table.through
            rows = np.array(
                [row for row in rows if not names[row] or span.barrel in names[row].split()], dtype=np.int64
            )
        guessed = rows[table.seed_how[rows] > 0]
        runs, of_runs = runs + guessed.size, of_runs + rows.size
        seed, of_seed = seed + float(table.seed_kg[guessed].sum()), of_seed + float(table.seed_kg[rows].sum())
    return Guessed(runs, of_runs, seed, of_seed)
