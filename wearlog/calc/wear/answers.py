"""Forecasts of each edge of a type from what was learned about the type."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Iterator, Mapping

import numpy as np

from wearlog.calc.wear.cases import Cases
from wearlog.calc.wear.fits import EdgeFit, Quantiles, Scenarios, TypeFit
from wearlog.calc.wear.learned import NO_WORK, NOTHING_KNOWN, Known, Learned
from wearlog.calc.wear.lives import Places
from wearlog.calc.wear.records import TypeRecord


def answers(record: TypeRecord, learned: Learned, keys: Iterable[Hashable] | None = None) -> TypeFit:
    """Forecast the edges of `record` as they are now, from `learned`, the result of `learn` for the same
    type.

    `record` must hold the edges that were learned from, in the same order; the seed that they have taken
    since and which of them are in use may have changed. The mapping `edges` of the result computes each edge
    when it is first asked for. With `keys` it contains only these. Raises ValueError where the number of
    edges differs, KeyError for a key that the record does not have."""
    if learned.edges != len(record.edges):
        raise ValueError("the record has other edges than those learned from: learn again")
    places = {edge.key: index for index, edge in enumerate(record.edges)}
    if keys is not None:
        places = {key: places[key] for key in keys}
    known, reason = learned.known, learned.reason
    if known is not None and not record.expected_life_kg:
        # Compared with the seed that edges have taken by now, readings at (almost) no seed say nothing of
        # wear.
        most = max((float(edge.now_kg.sum()) for edge in record.edges), default=0.0)
        if known.most_kg <= NO_WORK * most:
            known, reason = None, NOTHING_KNOWN
    if known is None or learned.places is None:
        return TypeFit(
            key=record.key,
            rates=(None,) * record.crops,
            gauge_sd=None,
            spread=None,
            edges={key: EdgeFit(key=key, basis="none", reason=reason) for key in places},
            new_edge=EdgeFit(key=None, basis="none", reason=reason),
        )
    edges = _Edges(record, places, learned.places, known)
    return TypeFit(
        key=record.key,
        rates=tuple(Quantiles.of(edges.case.rates[:, crop]) for crop in range(record.crops)),
        gauge_sd=known.posterior.gauge_sd,
        spread=math.hypot(known.posterior.wander.part, known.posterior.wander.life),
        edges=edges,
        new_edge=edges.new(),
    )


class _Edges(Mapping[Hashable, EdgeFit]):
    """The fit of each edge, computed when it is first asked for and then kept."""

    def __init__(
        self, record: TypeRecord, index: Mapping[Hashable, int], places: Places, known: Known
    ) -> None:
        self.record, self.index, self.places = record, index, places
        self.case = Cases(known)
        self.everyone = "fleet" if known.informed else "expected_life"
        self.fitted: dict[Hashable, EdgeFit] = {}

    def __len__(self) -> int:
        return len(self.index)

    def __iter__(self) -> Iterator[Hashable]:
        return iter(self.index)

    def __getitem__(self, key: Hashable) -> EdgeFit:
        found = self.fitted.get(key)
        if found is None:
            found = self.fitted[key] = self._edge(self.index[key])
        return found

    def new(self) -> EdgeFit:
        none = np.zeros(self.case.rows.shifts.shape[1])
        cases = self.case.of_edge(-1, -1, none, np.zeros(self.record.crops), rebuilt=0, at_work=False)
        return _edge(None, self.everyone, cases)

    def _edge(self, index: int) -> EdgeFit:
        edge, places, case = self.record.edges[index], self.places, self.case
        part, life = int(places.part[index]), int(places.life[index])
        kg = np.maximum(edge.now_kg - places.start_kg[index], 0.0)
        cases = case.of_edge(
            part, life, places.shifts[index], kg, rebuilt=int(places.rebuilt[index]), at_work=edge.in_use
        )
        informative = bool(places.readings[index]) and bool(kg.sum() > 0)
        return _edge(edge.key, "measured" if informative else self.everyone, cases)


def _edge(key: Hashable, basis: str, cases: Scenarios) -> EdgeFit:
    return EdgeFit(
        key=key,
        basis=basis,
        now=Quantiles.of(cases.wear_now, cases.weights),
        multiplier=Quantiles.of(cases.multiplier, cases.weights),
        scenarios=cases,
    )
