"""What runs use up of parts, by their prices and expected lives (`calc.consumption`).

- A life is what the wear model has learned from gauges, by crop; else the expected life of the type in seed;
  else that in hours of the press. Each edge has its share of the price.
- Work before this log has used up its part of the first edge.
- A die that was reamed (`made_from`) is worth what was left of the one it was made from, not a second price.
- What is left of a part that is retired, and is not passed on, is a cost of that day: on the press that it
  sat on last. That of a part which never sat on a press belongs to no press.
- Kinds of parts without a price or a life are named by press; a part without a life costs its price on the
  day on which it is retired.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from functools import cached_property

import numpy as np

from wearlog.calc.consumption import Floats, charge, lives_of_crops, relative_cases, shares_within
from wearlog.calc.exposure import parts_of_barrels
from wearlog.compare.costs.kinds import CostKind, Lack, Sort
from wearlog.equipment.kinds import EVERY_BUILD, KINDS, Kind
from wearlog.equipment.models import Part, PartType
from wearlog.forecasts.edges import Edges
from wearlog.history.cache import VersionCache
from wearlog.history.record import NO_RUNS, Record
from wearlog.history.rows import FittingRow, PartRow, TypeRow


@dataclass(frozen=True)
class Bought:
    """What is on record of a part beside its log."""

    acquired_on: date | None
    made_from_id: int | None


@dataclass(frozen=True)
class WrittenOff:
    """What was left of a part when it was retired. `press_id` is None for one that never sat on a press."""

    part: PartRow
    kind: str
    press_id: int | None
    on: date
    at: float
    amount: float


@dataclass(frozen=True, eq=False)
class PartsUsed:
    """`each`: by kind of part and press, the money used up by each of the press's runs of the record, in
    their order. `of_type`: the same by part type, where gauges told its wear, and `cases` by how much that
    may be more or less (`relative_cases`). `lacking`: why a press has no figure for a kind. `prices`: of the
    types, by primary key."""

    each: Mapping[tuple[str, int], Floats]
    of_type: Mapping[tuple[int, int], Floats]
    cases: Mapping[int, Floats]
    written_off: tuple[WrittenOff, ...]
    lacking: Mapping[tuple[CostKind, int], Lack]
    kinds: tuple[str, ...]
    prices: Mapping[int, float]
    bought: Mapping[int, Bought]


_FACTS: VersionCache[None, tuple[dict[int, float], dict[int, Bought]]] = VersionCache(
    "prices and makings of parts", most=1
)


def facts() -> tuple[dict[int, float], dict[int, Bought]]:
    """The price of each type that has one, and what is on record of each part beside its log."""

    def read() -> tuple[dict[int, float], dict[int, Bought]]:
        costs = PartType.objects.values_list("pk", "unit_cost")
        rows = Part.objects.values_list("pk", "acquired_on", "made_from_id")
        return (
            {pk: float(cost) for pk, cost in costs if cost is not None},
            {pk: Bought(acquired, source) for pk, acquired, source in rows},
        )

    return _FACTS.get(None, read)


def parts_used(record: Record, edges: Edges) -> PartsUsed:
    """What all runs of the record have used up of all parts."""
    prices, bought = facts()
    used = _Used(record, _lives(record, edges), prices, bought)
    for part in record.parts.values():
        used.left_of(part)
    return PartsUsed(
        each=used.each,
        of_type=used.of_type,
        cases={pk: life.cases for pk, life in used.lives.items() if life.cases is not None},
        written_off=tuple(used.written_off),
        lacking=_lacking(record, used.lives, prices),
        kinds=tuple(kind for kind in Kind if any(row.kind == kind for row in record.positions.values())),
        prices=prices,
        bought=bought,
    )


@dataclass(frozen=True, eq=False)
class _Life:
    """Of an edge: kilograms of each crop, shape (crops,), or hours of the press; `cases` (cases, crops) of
    what a crop uses, relative to that, where gauges told it."""

    seed_kg: Floats | None
    press_h: float | None
    cases: Floats | None = None


def _lives(record: Record, edges: Edges) -> dict[int, _Life]:
    """By part type; types without an expected life are absent."""
    found = {}
    for pk, type_ in record.types.items():
        learned = _learned(type_, edges, pk)
        if learned is not None:
            found[pk] = learned
        elif type_.expected_life_kg:
            found[pk] = _Life(np.full(len(record.crops), type_.expected_life_kg), type_.expected_life_h)
        elif type_.expected_life_h:
            found[pk] = _Life(None, type_.expected_life_h)
    return found


def _learned(type_: TypeRow, edges: Edges, pk: int) -> _Life | None:
    """What gauges have taught, where they have."""
    fit = edges.fits.get(pk)
    if fit is None or fit.new_edge.basis != "fleet" or type_.new_mm is None or type_.limit_mm is None:
        return None
    rates = [None if rate is None else rate.mid for rate in fit.rates]
    seed = lives_of_crops(abs(type_.limit_mm - type_.new_mm), rates)
    if seed is None:
        return None
    cases = None if fit.new_edge.scenarios is None else fit.new_edge.scenarios.rates
    return _Life(seed, type_.expected_life_h, None if cases is None else relative_cases(cases, rates))


@dataclass(eq=False)
class _Used:
    record: Record
    lives: Mapping[int, _Life]
    prices: Mapping[int, float]
    bought: Mapping[int, Bought]
    each: dict[tuple[str, int], Floats] = field(default_factory=dict)
    of_type: dict[tuple[int, int], Floats] = field(default_factory=dict)
    written_off: list[WrittenOff] = field(default_factory=list)
    left: dict[int, float | None] = field(default_factory=dict)
    barrels: dict[int, dict[str, Floats]] = field(default_factory=dict)
    ends: dict[int, Floats] = field(default_factory=dict)

    def left_of(self, part: PartRow) -> float | None:
        """Charge the part to its runs, once: what is left of its price; None where it has no price."""
        if part.id in self.left:
            return self.left[part.id]
        self.left[part.id] = None  # a circle of makings has no price
        value = self._value(part)
        if value is not None:
            self.left[part.id] = self._charge(part, value)
        return self.left[part.id]

    def _value(self, part: PartRow) -> float | None:
        source = self._source(part)
        if source is None:
            return self.prices.get(part.type_id)
        rest = self.left_of(source)
        return None if rest is None else rest / len(self._made_into[source.id])

    def _source(self, part: PartRow) -> PartRow | None:
        """The retired part that this one was made from."""
        bought = self.bought.get(part.id)
        source = self.record.parts.get(bought.made_from_id or 0) if bought is not None else None
        return source if source is not None and source.retired_on is not None else None

    @cached_property
    def _made_into(self) -> Mapping[int, list[int]]:
        found: dict[int, list[int]] = defaultdict(list)
        for part in self.record.parts.values():
            source = self._source(part)
            if source is not None:
                found[source.id].append(part.id)
        return found

    def _charge(self, part: PartRow, value: float) -> float:
        type_ = self.record.types[part.type_id]
        fittings = self.record.fittings_of.get(part.id, ())
        life = self.lives.get(part.type_id)
        left = value
        if life is not None:
            left = 0.0
            names = type_.edge_names
            before = self._before(part, life)
            for name in names:
                rows = [
                    row
                    for row in fittings
                    if row.edge == name or (row.edge not in names and name == names[0])
                ]
                first = bool(rows) and rows[0] is fittings[0]
                left += self._edge(type_, life, rows, value / len(names), before if first else 0.0)
        if part.retired_on is not None and part.id not in self._made_into and left > 0:
            self._write_off(part, type_.kind, fittings, left)
        return left

    def _before(self, part: PartRow, life: _Life) -> float:
        earlier = self.record.earlier.get(part.id)
        if earlier is None:
            return 0.0
        if life.seed_kg is not None:
            return earlier.seed_kg / float(np.mean(life.seed_kg))
        return earlier.worked_h / (life.press_h or np.inf)

    def _edge(
        self, type_: TypeRow, life: _Life, fittings: list[FittingRow], value: float, before: float
    ) -> float:
        places, uses = [], []
        for row in fittings:
            press_id, first, last, use = self._use(row, life)
            places.append((press_id, first, last))
            uses.append(use)
        if not uses:
            return float(value * max(0.0, 1.0 - before))
        charged = charge(value, np.concatenate(uses), before=before)
        begin = 0
        for press_id, first, last in places:
            if first == last:  # also a press without any run
                continue
            key = (type_.kind, press_id)
            if key not in self.each:
                self.each[key] = np.zeros(self.record.runs[press_id].start.size)
            own = charged.each[begin : begin + last - first]
            self.each[key][first:last] += own
            if life.cases is not None:
                of_type = self.of_type.setdefault((type_.id, press_id), np.zeros_like(self.each[key]))
                of_type[first:last] += own
            begin += last - first
        return charged.left

    def _use(self, row: FittingRow, life: _Life) -> tuple[int, int, int, Floats]:
        """The press, the first and the last of its runs that the fitting may share, and the fraction of a
        life that each of these used up."""
        record, position = self.record, self.record.positions[row.position_id]
        press_id = position.press_id
        runs = record.runs.get(press_id) or NO_RUNS
        if press_id not in self.ends:
            self.ends[press_id] = np.maximum.accumulate(runs.end)
        removed = record.end if row.removed is None else row.removed
        first = int(np.searchsorted(self.ends[press_id], row.fitted, side="left"))
        last = max(first, int(np.searchsorted(runs.start, removed, side="left")))
        if first == last:
            return press_id, 0, 0, np.zeros(0)
        own = slice(first, last)
        within = shares_within(runs.start[own], runs.end[own], row.fitted, removed)
        if life.seed_kg is not None:
            barrels = self._barrels(press_id)
            part = barrels[position.barrel][own] if position.barrel in barrels else position.share
            return press_id, first, last, within * runs.seed_kg[own] * part / life.seed_kg[runs.crop[own]]
        hours = within * np.nan_to_num(record.press_hours(press_id)[own])
        logged = float(hours.sum())
        # Hours on the meter without a run wear too; they are charged to the runs of the same fitting.
        whole = float(record.timelines[press_id].hours(row.fitted, removed)[0]) if logged > 0 else 0.0
        return (
            press_id,
            first,
            last,
            hours * (whole / logged if logged > 0 else 1.0) / (life.press_h or np.inf),
        )

    def _barrels(self, press_id: int) -> dict[str, Floats]:
        if press_id not in self.barrels:
            runs = self.record.runs.get(press_id) or NO_RUNS
            shares = self.record.barrel_shares.get(press_id, {})
            self.barrels[press_id] = parts_of_barrels(shares, runs.through, runs.start.size)
        return self.barrels[press_id]

    def _write_off(self, part: PartRow, kind: str, fittings: tuple[FittingRow, ...], left: float) -> None:
        assert part.retired_on is not None
        press_id = self.record.positions[fittings[-1].position_id].press_id if fittings else None
        at = datetime.combine(part.retired_on, time.min, self.record.zone).timestamp()
        self.written_off.append(WrittenOff(part, kind, press_id, part.retired_on, at, left))


def _lacking(
    record: Record, lives: Mapping[int, _Life], prices: Mapping[int, float]
) -> dict[tuple[CostKind, int], Lack]:
    """Why a press has no figure for a kind of part: the worst that is true of any part fitted there. A kind
    that only some builds have is not missed on a press of another build."""
    sat: dict[tuple[str, int], set[int]] = defaultdict(set)
    placed = {(row.kind, row.press_id) for row in record.positions.values()}
    for row in record.fittings:
        position = record.positions[row.position_id]
        sat[position.kind, position.press_id].add(record.parts[row.part_id].type_id)
    found = {}
    for kind in {kind for kind, _press in placed}:
        for press_id in record.presses:
            types = sat[kind, press_id]
            why = None
            if (kind, press_id) not in placed:
                why = Lack.NO_PLACE if KINDS[Kind(kind)].builds == EVERY_BUILD else None
            elif not types:
                why = Lack.NOT_RECORDED
            elif any(type_id not in prices for type_id in types):
                why = Lack.NO_PRICE
            elif any(type_id not in lives for type_id in types):
                why = Lack.NO_LIFE
            if why is not None:
                found[CostKind(Sort.PARTS, kind), press_id] = why
    return found
