"""Forecasts of each edge of a type from what was learned about the type."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Iterator, Mapping

import numpy as np

from wearlog.calc.wear.cases import Cases
from wearlog.calc.wear.fits import EdgeFit, Quantiles, Scenarios, TypeFit
from wearlog.calc.wear.learned import NO_WORK, NOTHING_KNOWN, Known, Learned
from wearlog.calc.wear.lives import Places, shifted_at
from wearlog.calc.wear.records import Floats, TypeRecord


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


def wear_along(
    record: TypeRecord, learned: Learned, key: Hashable | None, seed: Floats, at: Floats
) -> tuple[Quantiles, ...]:
    """The wear toward the limit, since new, of an edge at other moments of its present life, as everything
    that is known today tells it; empty where nothing is known.

    key: the edge, None for one that was never used. seed: what it had taken, or will have taken, since it was
    new, shape (n, columns). at: the instants, shape (n,); a shift of the dimension by work that was done
    later is taken off again at its likeliest size. The cases are those of the edge's `scenarios`, so that the
    10, 50 and 90 % points reach the limit where `seed_left` says."""
    edges = answers(record, learned, () if key is None else (key,)).edges
    return edges.along(key, seed, at) if isinstance(edges, _Edges) else ()


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
        cases = self.case.of_edge(-1, -1, none, np.zeros(self.record.columns), rebuilt=0, at_work=False)
        return _edge(None, self.everyone, cases)

    def along(self, key: Hashable | None, seed: Floats, at: Floats) -> tuple[Quantiles, ...]:
        edge = self.new() if key is None else self[key]
        cases = edge.scenarios
        assert cases is not None
        begun, now = np.zeros(self.record.columns), np.zeros(self.record.columns)
        if key is not None:
            begun = self.places.start_kg[self.index[key]]
            now = np.maximum(self.record.edges[self.index[key]].now_kg - begun, 0.0)
        found = []
        for kg, instant in zip(np.maximum(seed - begun, 0.0), at, strict=True):
            earlier = key is not None and kg.sum() < now.sum() * (1.0 - NO_WORK)
            undone = 0 if key is None else self._shifts_after(self.index[key], instant)
            if key is not None and (earlier or undone):
                found.append(self._back_then(self.index[key], kg, undone))
            else:
                worn = self.case.ahead(cases, self.record.by_crop(now), self.record.by_crop(kg))
                found.append(Quantiles.of(worn, cases.weights))
        return tuple(found)

    def _shifts_after(self, index: int, instant: float) -> int:
        return sum(work > instant for work in shifted_at(self.record.edges[index]))

    def _back_then(self, index: int, kg: Floats, undone: int) -> Quantiles:
        """The wear when the edge had taken `kg` of its life, before the last so many shifts."""
        places, shifts = self.places, self.places.shifts[index].copy()
        done = np.flatnonzero(shifts)
        shifts[done[len(done) - undone :]] = 0.0
        part, life = int(places.part[index]), int(places.life[index])
        return self.case.wear_at(part, life, shifts, kg, rebuilt=int(places.rebuilt[index]))

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
