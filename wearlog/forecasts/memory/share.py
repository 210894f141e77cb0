"""The edges of some presses' parts alone, with what was learned from all.

A process that works out a few presses needs the hours, the exposures and the gauges of these. What the whole
fleet has taught is stored with the version of the log that it belongs to, so that nothing of the other
presses has to be read. Of their edges only the number and the order count, since what was learned is kept by
them.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import cast

import numpy as np

from wearlog.calc.wear import EdgeRecord, Learned
from wearlog.calc.wear.learned import NO_WORK
from wearlog.forecasts import lessons
from wearlog.forecasts.edges import Edge, Edges
from wearlog.history.cache import Cache
from wearlog.history.record import Record
from wearlog.history.versions import Versions

MOST_KG = 1e9
"""No edge ever takes more seed: a million tonnes."""

_STORED: Cache[str, tuple[Learned, ...]] = Cache("stored lessons", most=2)
"""By the fingerprint of the data that it was learned from."""


class OwnEdges(Edges):
    """The edges of these parts. Of others it is known only that they exist: asking for one of them fails.

    learned: what was learned from all edges of the record, under this fingerprint."""

    def __init__(
        self, record: Record, parts: Collection[int], fingerprint: str, learned: tuple[Learned, ...]
    ) -> None:
        super().__init__(record)
        self.parts = frozenset(parts)
        self._own_learned = learned
        self._data_fingerprint = fingerprint
        none = np.zeros(0)
        others = dict.fromkeys(
            (row.part_id, self._edge_name(row.part_id, row.edge))
            for row in record.fittings
            if row.part_id not in parts
        )
        self._kept = dict.fromkeys(others, cast("Edge", None))
        self._kept_records = {
            key: EdgeRecord(key=key, part=key[0], gauge_kg=none, work_kg=none, now_kg=none) for key in others
        }

    @property
    def _learned(self) -> tuple[Learned, ...]:
        return self._own_learned

    def match(self) -> bool:
        """Whether what was learned can be applied with these edges alone: it was learned from as many edges
        of each type, and no type's readings were all taken at almost no seed, which only all edges tell."""
        return all(
            learned.edges == len(record.edges)
            and (
                learned.known is None
                or bool(record.expected_life_kg)
                or learned.known.most_kg > NO_WORK * MOST_KG
            )
            for record, learned in zip(self._type_records.values(), self._learned, strict=True)
        )


def own_edges(record: Record, known: Versions, parts: Collection[int]) -> OwnEdges | None:
    """The edges of these parts, where what the fleet has taught by this state of the log is stored; None
    where it is not, or where it can't be applied without the other edges."""
    fingerprint = lessons.standing(as_of=record.as_of, known=known)
    if fingerprint is None:
        return None
    learned = _STORED.find(fingerprint) or lessons.find(fingerprint)
    if learned is None or len(learned) != len(record.types):
        return None
    made = OwnEdges(record, parts, fingerprint, _STORED.keep(fingerprint, learned))
    return made if made.match() else None
