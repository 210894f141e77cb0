"""Prepares the edges of all parts for the wear model (gauges, work, exposures), and gives its results."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import TypeVar

import numpy as np

from wearlog.calc.candidates import Candidates
from wearlog.calc.exposure import exposures
from wearlog.calc.wear import (
    EdgeFit,
    EdgeRecord,
    Gauge,
    Learned,
    Quantiles,
    SeedToLimit,
    TypeFit,
    TypeRecord,
    Work,
    answers,
    fingerprint,
    learn,
    seed_to_limit,
    wear_along,
)
from wearlog.forecasts import lessons
from wearlog.forecasts.harvests import HarvestColumns
from wearlog.forecasts.things import crops_of
from wearlog.history.cache import Cache
from wearlog.history.record import NOTHING_EARLIER, Earlier, Record
from wearlog.history.rows import FittingRow, Floats, MeasurementRow, PartRow, ServiceRow, TypeRow
from wearlog.service.work import RENEWS, SHIFTS

SAME_WORK_S = 86400.0
"""A gauge marked before or after work, but without a service, belongs to work on the part within a day."""

EdgeKey = tuple[int, str]
"""Part and edge; the edge is empty for a part that has one."""

_LEARNED: Cache[str, tuple[Learned, ...]] = Cache("what gauges have taught", most=4)
"""By the fingerprint of the data that it was learned from."""


@dataclass(frozen=True, eq=False)
class Edge:
    """One edge that was used at least once, with its own records in order of time. `now_kg` is the seed per
    crop that it has taken so far, shape (crops,), and `harvests_kg` the same per harvest (see `harvests`);
    `earlier_kg` and `earlier_h` are what it had done before this log, which both include."""

    key: EdgeKey
    fittings: tuple[FittingRow, ...]
    measurements: tuple[MeasurementRow, ...]
    works: tuple[ServiceRow, ...]
    now_kg: Floats
    harvests_kg: Floats
    earlier_kg: Floats
    earlier_h: float


Kept = TypeVar("Kept")


def _worked_at(record: Record, presses: Collection[int]) -> set[int]:
    """The parts that were ever fitted at one of these presses."""
    return {row.part_id for row in record.fittings if record.positions[row.position_id].press_id in presses}


def _without(edges: Mapping[EdgeKey, Kept], parts: Collection[int]) -> Mapping[EdgeKey, Kept]:
    return {key: kept for key, kept in edges.items() if key[0] not in parts}


class Edges:
    """Every used edge of the record, and the wear model's fits for them.

    before: the edges of an earlier state of the log on the same day, from which those are taken whose parts
    never worked at a press in `touched`. same_lessons: nothing that wear is learned from has changed
    since."""

    def __init__(
        self,
        record: Record,
        before: Edges | None = None,
        *,
        touched: Collection[int] = (),
        same_lessons: bool = False,
    ) -> None:
        self.record = record
        self._kept: Mapping[EdgeKey, Edge] = {}
        self._kept_records: Mapping[EdgeKey, EdgeRecord] = {}
        if before is not None and before.harvests == self.harvests:
            moved = _worked_at(before.record, touched) | _worked_at(record, touched)
            self._kept = _without(vars(before).get("used", {}), moved)
            self._kept_records = _without(vars(before).get("_edge_records", {}), moved)
            if same_lessons and "_data_fingerprint" in vars(before):
                self._data_fingerprint = before._data_fingerprint

    @property
    def are_known(self) -> bool:
        """Whether most edges need not be worked out any more."""
        return bool(self._kept) or "used" in vars(self)

    @cached_property
    def fits(self) -> Mapping[int, TypeFit]:
        """The wear model's fit for each part type, learned together because types inform each other."""
        return {
            type_id: answers(record, known)
            for (type_id, record), known in zip(self._type_records.items(), self._learned, strict=True)
        }

    @property
    def _learned(self) -> tuple[Learned, ...]:
        def make() -> tuple[Learned, ...]:
            stored = lessons.find(self._data_fingerprint)
            if stored is not None:
                return stored
            return lessons.as_read_back(learn(list(self._type_records.values())))

        return _LEARNED.get(self._data_fingerprint, make)

    def store_lessons(self, *, at: datetime) -> None:
        """Store what was learned, so that other processes need not learn it."""
        lessons.keep(self._data_fingerprint, self._learned, at=at)

    @cached_property
    def fingerprint(self) -> str:
        """A fingerprint of all that was learned: it does not change while edges in use take more seed."""
        silent = [type_id for type_id, fit in self.fits.items() if fit.gauge_sd is None]
        return f"{self._data_fingerprint} {silent}"

    @cached_property
    def _data_fingerprint(self) -> str:
        return fingerprint(list(self._type_records.values()))

    @cached_property
    def _type_records(self) -> Mapping[int, TypeRecord]:
        edges: dict[int, list[EdgeRecord]] = {}
        for key, edge in self._edge_records.items():
            edges.setdefault(self.record.parts[key[0]].type_id, []).append(edge)
        types = sorted(self.record.types.values(), key=lambda type_: type_.code)
        return {type_.id: self._type_record(type_, edges.get(type_.id, ())) for type_ in types}

    def fit_of(self, part: PartRow, edge: str) -> tuple[TypeFit, EdgeFit]:
        """The fits of a part's type and of one of its edges; an unused edge has the fit of a new one."""
        fit = self.fits[part.type_id]
        return fit, fit.edges.get((part.id, edge), fit.new_edge)

    def to_limit(self, type_id: int) -> SeedToLimit | None:
        """The seed that edges of a type took to their limit; None where the type has none."""
        return seed_to_limit(self._type_records[type_id])

    @cached_property
    def candidates(self) -> Mapping[int, Candidates]:
        """What other models than the wear model say, by part type."""
        known = zip(self._type_records.items(), self._learned, strict=True)
        return {
            type_id: Candidates(record, learned, self.fits[type_id]) for (type_id, record), learned in known
        }

    def wear_along(self, part: PartRow, edge: str, seed: Floats, at: Floats) -> tuple[Quantiles, ...]:
        """The wear toward the limit of an edge of the part, used or not, at other moments, as for
        `calc.wear.wear_along`."""
        key = (part.id, edge) if (part.id, edge) in self.used else None
        logged = np.zeros((0, 0))
        if key is not None:
            wanted = [(key, float(instant)) for instant in at]
            logged = self._by_harvest(wanted, {key: list(self.used[key].fittings)})
        seed = self.harvests.with_what_is_to_come(seed, logged)
        learned = dict(zip(self._type_records, self._learned, strict=True))[part.type_id]
        return wear_along(self._type_records[part.type_id], learned, key, seed, at)

    def seed_until(self, edge: Edge, instants: Sequence[float]) -> Floats:
        """Seed per crop that the edge had taken before each instant, this log or not, shape
        (len(instants), crops)."""
        return self._exposures([(edge.key, at) for at in instants], {edge.key: list(edge.fittings)})

    @cached_property
    def used(self) -> Mapping[EdgeKey, Edge]:
        """Every edge that was fitted at least once."""
        fittings: dict[EdgeKey, list[FittingRow]] = defaultdict(list)
        for fitting in self.record.fittings:
            fittings[fitting.part_id, self._edge_name(fitting.part_id, fitting.edge)].append(fitting)
        new = {key: rows for key, rows in fittings.items() if key not in self._kept}
        parts = {part_id for part_id, _ in new}
        gauges: dict[EdgeKey, list[MeasurementRow]] = defaultdict(list)
        with_phase = set()
        for row in self.record.measurements:
            if row.part_id in parts:
                gauges[row.part_id, self._edge_at(row.part_id, row.edge, row.measured)].append(row)
            if row.phase:
                with_phase.add(row.service_id)
        works: dict[EdgeKey, list[ServiceRow]] = defaultdict(list)
        for service in self.record.services:
            if service.action in RENEWS or service.action in SHIFTS or service.id in with_phase:
                part_id = self._part_of(service)
                if part_id is not None and part_id in parts:
                    works[part_id, self._edge_at(part_id, service.edge, service.done)].append(service)
        by_harvest = self._by_harvest([(key, self.record.end) for key in new], new)
        now = self.harvests.by_crop(by_harvest)
        made = {
            key: Edge(
                key,
                tuple(rows),
                tuple(gauges.get(key, ())),
                tuple(works.get(key, ())),
                now[index],
                by_harvest[index],
                self._earlier_seed(key),
                self._earlier_of(key).worked_h,
            )
            for index, (key, rows) in enumerate(new.items())
        }
        return {key: made[key] if key in made else self._kept[key] for key in fittings}

    def taken(self, edge: Edge) -> tuple[float, ServiceRow | None]:
        """Seed that the edge has taken since it was last rebuilt, with that work, or since it was new
        (None)."""
        rebuilt = [row for row in edge.works if row.action in RENEWS]
        if not rebuilt:
            return float(edge.now_kg.sum()), None
        before = self._exposures([(edge.key, rebuilt[-1].done)], {edge.key: list(edge.fittings)})
        return float((edge.now_kg - before[0]).sum()), rebuilt[-1]

    def taken_by(self, edge: Edge, instant: float) -> float:
        """Seed that the edge had taken by an instant, since it was last rebuilt or since it was new."""
        rebuilt = [row.done for row in edge.works if row.action in RENEWS]
        wanted = [(edge.key, instant), *([(edge.key, max(rebuilt))] if rebuilt else [])]
        upto, *before = self._exposures(wanted, {edge.key: list(edge.fittings)})
        return float(upto.sum() - sum(seed.sum() for seed in before))

    def earlier(self, part_id: int, edge: str) -> tuple[float, float]:
        """Hours and seed (kg) of an edge before this log, both in what else is told of it; 0 for most."""
        known = self._earlier_of((part_id, edge))
        return known.worked_h, known.seed_kg

    def _earlier_of(self, key: EdgeKey) -> Earlier:
        """What the edge had done before this log: all that its part had, for the edge fitted first here."""
        part_id, edge = key
        known = self.record.earlier.get(part_id)
        if known is None or self._edge_name(part_id, self.record.fittings_of[part_id][0].edge) != edge:
            return NOTHING_EARLIER
        return known

    def _earlier_seed(self, key: EdgeKey) -> Floats:
        """The same as seed per crop, shape (crops,): evenly of the crops that the part is for, since nobody
        knows better."""
        crops = np.zeros(len(self.record.crops))
        seed = self._earlier_of(key).seed_kg
        if seed and crops.size:
            served = crops_of(self.record.crops, self._type_of(key[0]))
            which = list(range(crops.size)) if served is None else served
            crops[which] = seed / len(which)
        return crops

    def last_of(self, part_id: int) -> Edge:
        """The edge that a part works on, or last worked on. KeyError for a part that was never fitted."""
        last = self.record.fittings_of[part_id][-1]
        return self.used[part_id, self._edge_name(part_id, last.edge)]

    def unused(self, part: PartRow) -> int:
        """The number of the part's edges that were never fitted."""
        names = self.record.types[part.type_id].edge_names
        return sum((part.id, name) not in self.used for name in names)

    def _type_of(self, part_id: int) -> TypeRow:
        return self.record.types[self.record.parts[part_id].type_id]

    def _edge_name(self, part_id: int, edge: str) -> str:
        return edge if self._type_of(part_id).edges > 1 else ""

    def _edge_at(self, part_id: int, edge: str, instant: float) -> str:
        """The edge that a row refers to; if it does not say, the edge in use then or last before."""
        if edge or self._type_of(part_id).edges == 1:
            return self._edge_name(part_id, edge)
        name = ""
        for fitting in self.record.fittings_of.get(part_id, ()):
            if fitting.fitted <= instant or not name:
                name = fitting.edge
        return name

    def _part_of(self, service: ServiceRow) -> int | None:
        if service.part_id is not None or service.position_id is None:
            return service.part_id
        for fitting in self._at_position.get(service.position_id, ()):
            if fitting.fitted <= service.done and (
                fitting.removed is None or service.done <= fitting.removed
            ):
                return fitting.part_id
        return None

    @cached_property
    def _at_position(self) -> Mapping[int, list[FittingRow]]:
        found: dict[int, list[FittingRow]] = defaultdict(list)
        for fitting in self.record.fittings:
            found[fitting.position_id].append(fitting)
        return found

    def _exposures(
        self, wanted: list[tuple[EdgeKey, float]], fittings: Mapping[EdgeKey, list[FittingRow]]
    ) -> Floats:
        """Seed per crop that each edge had taken before each instant, this log or not, shape
        (len(wanted), crops); one vectorised call for all."""
        target, press, barrel, share, start, end = [], [], [], [], [], []
        for row, (key, instant) in enumerate(wanted):
            for fitting in fittings.get(key, ()):
                if fitting.fitted >= instant:
                    continue
                position = self.record.positions[fitting.position_id]
                target.append(row)
                press.append(position.press_id)
                barrel.append(position.barrel)
                share.append(position.share)
                start.append(fitting.fitted)
                end.append(instant if fitting.removed is None else min(fitting.removed, instant))
        total = np.zeros((len(wanted), len(self.record.crops)))
        for row, (key, _) in enumerate(wanted):
            if key[0] in self.record.earlier:
                total[row] = self._earlier_seed(key)
        if target:
            seed = exposures(
                self.record.timelines_of(press),
                np.array(press, dtype=np.int64),
                barrel,
                np.array(share),
                np.array(start),
                np.array(end),
            ).kilograms
            np.add.at(total, np.array(target), seed)
        return total

    def _by_harvest(
        self, wanted: list[tuple[EdgeKey, float]], fittings: Mapping[EdgeKey, list[FittingRow]]
    ) -> Floats:
        """The same per harvest, shape (len(wanted), harvests)."""
        begun = {key: rows[0].fitted for key, rows in fittings.items()}
        return self.harvests.taken(wanted, begun, lambda asked: self._exposures(asked, fittings))

    @cached_property
    def harvests(self) -> HarvestColumns:
        """The columns of seed per harvest."""
        first = min((row.fitted for row in self.record.fittings), default=self.record.end)
        return HarvestColumns.of(self.record, first)

    @cached_property
    def _edge_records(self) -> Mapping[EdgeKey, EdgeRecord]:
        """What the wear model takes of each used edge."""
        new = [edge for key, edge in self.used.items() if key not in self._kept_records]
        wanted: list[tuple[EdgeKey, float]] = []
        for edge in new:
            wanted += [(edge.key, row.measured) for row in edge.measurements]
            wanted += [(edge.key, row.done) for row in edge.works]
        seed = self._by_harvest(wanted, {edge.key: list(edge.fittings) for edge in new})
        made, place = {}, 0
        for edge in new:
            count = len(edge.measurements) + len(edge.works)
            made[edge.key] = self._edge_record(edge, seed[place : place + count])
            place += count
        return {key: made[key] if key in made else self._kept_records[key] for key in self.used}

    def _type_record(self, type_: TypeRow, edges: Sequence[EdgeRecord]) -> TypeRecord:
        return TypeRecord(
            key=type_.code,
            new=type_.new_mm,
            limit=type_.limit_mm,
            crops=len(self.record.crops),
            expected_life_kg=type_.expected_life_kg,
            harvests=self.harvests.crop,
            edges=tuple(edges),
        )

    def _edge_record(self, edge: Edge, seed: Floats) -> EdgeRecord:
        part = self.record.parts[edge.key[0]]
        last = self.record.fittings_of[part.id][-1]
        current = self._edge_name(part.id, last.edge) == edge.key[1]
        count = len(edge.measurements)
        return EdgeRecord(
            key=edge.key,
            part=part.id,
            gauges=tuple(self._gauge(row, edge.works) for row in edge.measurements),
            gauge_kg=seed[:count],
            works=tuple(Work(id=row.id, at=row.done, resets=row.action in RENEWS) for row in edge.works),
            work_kg=seed[count:],
            now_kg=edge.harvests_kg,
            worn_out=(part.retired_because == "worn" and current) or self.turned_as_worn(edge),
            in_use=current and part.retired_on is None,
        )

    def turned_as_worn(self, edge: Edge) -> bool:
        """Whether another edge of the part took its place where it sat, within a day, as when it is worn."""
        after = [row for row in self.record.fittings_of[edge.key[0]] if row.fitted > edge.fittings[-1].fitted]
        if not after:
            return False
        removed, next_one = edge.fittings[-1].removed, after[0]
        return (
            removed is not None
            and next_one.position_id == edge.fittings[-1].position_id
            and next_one.fitted - removed <= SAME_WORK_S
        )

    def _gauge(self, row: MeasurementRow, works: tuple[ServiceRow, ...]) -> Gauge:
        work = None
        if row.phase:
            if row.service_id is not None:
                work = row.service_id
            else:
                near = [one for one in works if abs(one.done - row.measured) <= SAME_WORK_S]
                work = min(near, key=lambda one: abs(one.done - row.measured)).id if near else None
        return Gauge(
            at=row.measured,
            value=row.value_mm,
            bound=row.bound,
            place=row.place,
            phase=row.phase if work is not None else "",
            work=work,
        )
