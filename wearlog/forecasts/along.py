"""The wear of an edge against the seed that it has taken: its line so far, and on to the limit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from wearlog.calc.slips import seed_without_wear
from wearlog.calc.wear import EdgeFit, Quantiles, Scenarios, TypeFit, odd_share
from wearlog.forecasts.edges import SAME_WORK_S, Edge, Edges
from wearlog.forecasts.outlook import Outlook
from wearlog.forecasts.things import crops_of
from wearlog.history.record import Record
from wearlog.history.rows import Floats, MeasurementRow, PartRow, TypeRow
from wearlog.service.work import RENEWS, SHIFTS

MOST_POINTS = 48
"""A line has about so many points, besides those where the crop or the edge itself changed."""
MOST_STRETCHES = 24
FURTHEST = 1.3
"""The line ahead ends at the latest at so many times the seed at which the edge probably reaches its limit,
however wide the range is."""
AN_INSTANT = 1e-3
DOUBTFUL = 0.5
"""A gauge of which it is likelier than this that it is a gross error counts little."""


@dataclass(frozen=True)
class WearPoint:
    """The dimension in mm when the edge had taken, or will have taken, so much seed. `low` and `high` are the
    10 % and 90 % points of its wear (high is closer to the limit)."""

    seed_kg: float
    mid_mm: float
    low_mm: float
    high_mm: float


@dataclass(frozen=True)
class Stretch:
    """Seed of mostly one crop, empty where it was taken before this log."""

    crop: str
    from_kg: float
    to_kg: float


@dataclass(frozen=True)
class GaugeAlong:
    """`mid_mm` is what the line says, None without a line. `counts_little`: it is probably a slip. `beside`:
    of the places gauged together another one lies nearer the limit, and counts instead."""

    id: int
    seed_kg: float
    value_mm: float
    bound: str
    mid_mm: float | None
    counts_little: bool
    beside: bool


@dataclass(frozen=True)
class Turning:
    """Work that changed the edge (`action`); or, with an empty one, that it went off for more than a day, for
    another edge of its part (`to_edge`) or not, and the day on which it came back."""

    on: date
    seed_kg: float
    action: str
    to_edge: str = ""
    back_on: date | None = None


@dataclass(frozen=True)
class AtLimit:
    """The seed at which the edge reaches the limit, 10, 50 and 90 %; less than it has taken where the limit
    was passed. `high_kg` is None where it has no bound."""

    low_kg: float
    mid_kg: float
    high_kg: float | None


@dataclass(frozen=True, kw_only=True)
class WearAlong:
    """One edge, its seed counted from when it was new or last rebuilt (`since`). Empty `so_far` and `ahead`:
    nothing is known of its wear. `stretches` are what it took, in order. `without_wear_kg`: the seed over
    which its latest gauges show no wear although the type wears; None where they do show it."""

    edge: str
    used: bool
    in_place: bool
    since: date | None
    new_mm: float
    limit_mm: float
    now_kg: float
    basis: str
    so_far: tuple[WearPoint, ...]
    ahead: tuple[WearPoint, ...]
    limit: AtLimit | None
    gauges: tuple[GaugeAlong, ...]
    turnings: tuple[Turning, ...]
    stretches: tuple[Stretch, ...]
    without_wear_kg: float | None

    @property
    def now(self) -> WearPoint | None:
        return self.so_far[-1] if self.so_far else None

    @property
    def passed(self) -> bool:
        return self.limit is not None and self.limit.mid_kg <= self.now_kg


def wear_along(edges: Edges, outlook: Outlook, part_id: int, edge: str) -> WearAlong | None:
    """The edge (empty: the part's only one), used or not; None for a type without a new size and a limit.
    KeyError for a part that the record does not hold."""
    record = edges.record
    part = record.parts[part_id]
    type_ = record.types[part.type_id]
    if type_.new_mm is None or type_.limit_mm is None or type_.new_mm == type_.limit_mm:
        return None
    return _Course(edges, outlook, part, type_, edges.used.get((part_id, edge)), edge).shown()


class _Course:
    """What is known of one edge: each amount of seed with its crops, in order of time."""

    def __init__(
        self, edges: Edges, outlook: Outlook, part: PartRow, type_: TypeRow, used: Edge | None, name: str
    ) -> None:
        self.edges, self.outlook, self.record = edges, outlook, edges.record
        self.part, self.type_, self.used, self.name = part, type_, used, name
        self.fit, self.own = edges.fit_of(part, name)
        rebuilt = [] if used is None else [row.done for row in used.works if row.action in RENEWS]
        self.begun = max(rebuilt, default=float("-inf"))
        crops = len(self.record.crops)
        self.base = np.zeros(crops)
        self.now = np.zeros(crops)
        if used is not None:
            self.now = used.now_kg
            if rebuilt:
                self.base = edges.seed_until(used, [self.begun])[0]

    def shown(self) -> WearAlong:
        new_mm, limit_mm = self.type_.new_mm, self.type_.limit_mm
        assert new_mm is not None
        assert limit_mm is not None
        at, seed, before = self._past()
        line = self._points(seed, at)
        ahead, limit = self._ahead(seed[-1], line)
        coming = self._points(ahead, np.full(len(ahead), self.record.end)) if len(ahead) else ()
        used = self.used
        return WearAlong(
            edge=self.name,
            used=used is not None,
            in_place=used is not None and used.fittings[-1].removed is None,
            since=None if np.isinf(self.begun) else self.record.day_of(self.begun),
            new_mm=new_mm,
            limit_mm=limit_mm,
            now_kg=self._kg(self.now[None])[0],
            basis=self.own.basis,
            so_far=line,
            ahead=coming,
            limit=limit,
            gauges=() if used is None else tuple(self._gauges(used)),
            turnings=() if used is None else tuple(self._turnings(used)),
            stretches=tuple(_stretches(self.record, seed - self.base, before=before)),
            without_wear_kg=None if used is None else self._without_wear(used),
        )

    def _kg(self, seed: Floats) -> list[float]:
        kilograms: list[float] = (seed - self.base).sum(axis=1).tolist()
        return kilograms

    def _past(self) -> tuple[Floats, Floats, bool]:
        """Instants, and what had been taken by then: at the beginning, at the ends of runs, on both sides of
        work, now; and whether the first step was taken before this log."""
        used = self.used
        if used is None:
            return np.array([self.record.end]), self.now[None], False
        begun = max(self.begun, used.fittings[0].fitted)
        works = [row.done for row in used.works if row.done > begun and row.action in SHIFTS]
        sides = {at for done in works for at in (done - AN_INSTANT, done)}
        instants = sorted({begun, *(end for end in _ends(self.record, used) if end > begun), *sides})
        instants.append(self.record.end)
        seed, at = self.edges.seed_until(used, instants), np.array(instants)
        before = bool(np.isinf(self.begun) and seed[0].any())
        if before:
            seed, at = np.vstack([self.base, seed]), np.concatenate([[begun], at])
        keep = _telling(seed, [place for place, one in enumerate(at) if one in sides or one == begun])
        return at[keep], seed[keep], before

    def _points(self, seed: Floats, at: Floats) -> tuple[WearPoint, ...]:
        found = self.edges.wear_along(self.part, self.name, seed, at)
        return tuple(
            WearPoint(kg, self._mm(worn.mid), self._mm(worn.low), self._mm(worn.high))
            for kg, worn in zip(self._kg(seed), found, strict=False)
        )

    def _mm(self, worn: float) -> float:
        new_mm, limit_mm = self.type_.new_mm or 0.0, self.type_.limit_mm or 0.0
        return new_mm + (worn if limit_mm > new_mm else -worn)

    def _ahead(self, now: Floats, line: Sequence[WearPoint]) -> tuple[Floats, AtLimit | None]:
        """What will have been taken, from now to a little past the limit, and where that is."""
        nothing = np.zeros((0, now.size))
        cases = self.own.scenarios
        if cases is None:
            return nothing, None
        path = self._path(self.own, cases)
        left = _reached(cases, path)
        if left is None:
            return nothing, None
        taken = self._kg(now[None])[0]
        low, mid, high = (
            self._passed_at(line, which) if kg <= 0 else taken + kg
            for which, kg in (("high_mm", left.low), ("mid_mm", left.mid), ("low_mm", left.high))
        )
        limit = AtLimit(low, mid, high if np.isfinite(high) else None)
        if mid <= taken:
            return nothing, limit
        end = min(high, FURTHEST * mid) * 1.04 - taken
        total = path.sum(axis=1)
        wanted = np.linspace(0.0, end, MOST_POINTS // 2)
        rows = [np.interp(wanted, total, path[:, crop]) for crop in range(path.shape[1])]
        return now + np.stack(rows, axis=1), limit

    def _passed_at(self, line: Sequence[WearPoint], which: str) -> float:
        """The seed at which one of the lines so far last went over the limit."""
        limit = self.type_.limit_mm or 0.0
        sign = 1.0 if limit > (self.type_.new_mm or 0.0) else -1.0
        found = line[-1].seed_kg
        for before, after in zip(line[-2::-1], line[:0:-1], strict=True):
            low, high = (sign * float(getattr(point, which) - limit) for point in (before, after))
            if high < 0:
                break
            found = before.seed_kg
            if low < 0 <= high:
                return after.seed_kg - (after.seed_kg - before.seed_kg) * high / (high - low)
        return found

    def _path(self, own: EdgeFit, cases: Scenarios) -> Floats:
        """The seed that is expected to go through the edge from now on, as sums, from 0 on: by plan and pace
        of the press where the part is or last was; without these of the crops as so far. It never ends
        before the limit is probably reached."""
        crops = len(self.record.crops)
        served = crops_of(self.record.crops, self.type_)
        counts = np.ones(crops) if served is None else np.isin(np.arange(crops), served).astype(float)
        path = np.zeros((1, crops))
        fittings = self.record.fittings_of.get(self.part.id, ())
        if fittings:
            position = self.record.positions[fittings[-1].position_id]
            self.record.timelines_of([position.press_id])
            season = self.outlook.season(position.press_id)
            if season is not None:
                path = np.vstack([path, season.total * counts * position.share])
        usual = path[-1] if path[-1].any() else self.now if self.now.any() else counts
        left = own.seed_left(usual)
        enough = 2.0 * (left.high if left is not None else float(path[-1].sum())) + 1.0
        return np.vstack([path, path[-1] + enough * usual / usual.sum()]) if usual.any() else path

    def _gauges(self, used: Edge) -> Iterator[GaugeAlong]:
        rows = [row for row in used.measurements if row.measured >= self.begun]
        counting = self._worst(rows)
        at = np.array([_moment(row, used) for row in rows])
        seed = self.edges.seed_until(used, at.tolist())
        line = self._points(seed, at)
        for place, (row, kg) in enumerate(zip(rows, self._kg(seed), strict=True)):
            mid = line[place].mid_mm if line else None
            beside = row.id not in counting
            doubtful = mid is not None and not beside and _is_doubtful(row, mid, self.fit)
            yield GaugeAlong(row.id, kg, row.value_mm, row.bound, mid, doubtful, beside)

    def _without_wear(self, used: Edge) -> float | None:
        rows = [row for row in used.measurements if row.measured >= self.begun and not row.bound]
        counting = self._worst(rows)
        rows = [row for row in rows if row.id in counting]
        if not rows or not self.fit.gauge_sd:
            return None
        rates = np.array([0.0 if rate is None else rate.mid for rate in self.fit.rates])
        seed = self.edges.seed_until(used, [_moment(row, used) for row in rows]) - self.base
        sizes = np.array([row.value_mm for row in rows])
        return seed_without_wear(seed.sum(axis=1), sizes, seed @ rates, self.fit.gauge_sd)

    def _worst(self, rows: Sequence[MeasurementRow]) -> set[int]:
        """Of the places gauged together the one nearest the limit, which is the one that counts; and all
        checks with a pin: their keys."""
        sign = 1.0 if (self.type_.limit_mm or 0.0) > (self.type_.new_mm or 0.0) else -1.0
        worst: dict[object, MeasurementRow] = {}
        for row in rows:
            key = (row.measured, row.phase, row.service_id, row.id if row.bound else None)
            other = worst.get(key)
            if other is None or sign * (row.value_mm - other.value_mm) > 0:
                worst[key] = row
        return {row.id for row in worst.values()}

    def _turnings(self, used: Edge) -> Iterator[Turning]:
        """Work on the edge, and its going off and coming back, in order of time."""
        found: list[tuple[float, str, str, date | None]] = [
            (row.done, row.action, "", None)
            for row in used.works
            if row.done > self.begun and row.action in SHIFTS
        ]
        for before, after in zip(used.fittings, (*used.fittings[1:], None), strict=True):
            off = before.removed
            if off is None or off <= self.begun or (after is not None and after.fitted - off <= SAME_WORK_S):
                continue
            back = None if after is None else self.record.day_of(after.fitted)
            found.append((off, "", self._turned_to(off), back))
        found.sort(key=lambda one: one[:3])
        seed = self.edges.seed_until(used, [at for at, *_ in found])
        for (at, action, to_edge, back), kg in zip(found, self._kg(seed), strict=True):
            yield Turning(self.record.day_of(at), kg, action, to_edge, back)

    def _turned_to(self, off: float) -> str:
        """The edge of the part that took over within a day, empty for none."""
        for row in self.record.fittings_of[self.part.id]:
            if off <= row.fitted <= off + SAME_WORK_S and row.edge != self.name:
                return row.edge
        return ""


def _moment(row: MeasurementRow, used: Edge) -> float:
    """When the gauge counts: one marked as after work counts after it, even where both have one instant."""
    near = [work.done for work in used.works if work.id == row.service_id]
    if not near or not row.phase:
        return row.measured
    return max(row.measured, near[0]) if row.phase == "after" else min(row.measured, near[0] - AN_INSTANT)


def _is_doubtful(row: MeasurementRow, mid_mm: float, fit: TypeFit) -> bool:
    if row.bound or not fit.gauge_sd:
        return False
    return bool(odd_share(np.array([(row.value_mm - mid_mm) / fit.gauge_sd]))[0] > DOUBTFUL)


def _ends(record: Record, used: Edge) -> list[float]:
    """The ends of runs on the presses where the edge was, while it was there, in order of time: all of them
    where they are few, else every so many and those before another crop."""
    found: set[float] = set()
    for fitting in used.fittings:
        runs = record.runs.get(record.positions[fitting.position_id].press_id)
        if runs is not None:
            until = record.end if fitting.removed is None else fitting.removed
            rows = np.flatnonzero((runs.end > fitting.fitted) & (runs.end < until))
            last = np.append(np.diff(runs.crop[rows]) != 0, True)
            step = max(1, rows.size // (8 * MOST_POINTS))
            found |= set(runs.end[rows[last | (np.arange(rows.size) % step == 0)]].tolist())
            found.add(until)
    return sorted(end for end in found if end < record.end)


def _telling(seed: Floats, wanted: Sequence[int]) -> list[int]:
    """The rows that a line needs: first and last, those `wanted`, those about as far apart as `MOST_POINTS`
    allow, and where the crop changes."""
    total, last = seed.sum(axis=1), len(seed) - 1
    step = (total[-1] - total[0]) / MOST_POINTS
    crop = np.argmax(np.diff(seed, axis=0), axis=1) if seed.shape[1] else np.zeros(len(seed), dtype=np.int64)
    kept = [0]
    for row in range(1, last):
        beyond = total[row] - total[kept[-1]]
        if row in wanted or beyond >= step > 0 or (crop[row] != crop[row - 1] and beyond >= step / 4):
            kept.append(row)
    return [*kept, last] if last else kept


def _stretches(record: Record, seed: Floats, *, before: bool) -> Iterator[Stretch]:
    """What was taken between the rows, joined where it is mostly the same crop, and where it is too little to
    be seen. `before`: the first was taken before this log."""
    total, open_ = seed.sum(axis=1), None
    least = (total[-1] - total[0]) / MOST_STRETCHES / 4
    for row in range(1, len(seed)):
        taken = total[row] - total[row - 1]
        if taken <= 0:
            continue
        crop = "" if before and row == 1 else record.crops[int(np.argmax(seed[row] - seed[row - 1]))]
        if open_ is not None and open_.crop and (crop == open_.crop or taken < least):
            open_ = Stretch(open_.crop, open_.from_kg, float(total[row]))
            continue
        if open_ is not None:
            yield open_
        open_ = Stretch(crop, float(total[row - 1]), float(total[row]))
    if open_ is not None:
        yield open_


def _reached(cases: Scenarios, path: Floats) -> Quantiles | None:
    """The seed from now on at which the limit is reached if seed comes as in `path`; 0 where it was reached
    before. None where nothing tells."""
    made, total = path @ cases.rates.T, path.sum(axis=1)
    if total[-1] <= 0:
        return None
    left = np.array(
        [
            np.where(needed > reach[-1], np.inf, np.interp(np.maximum(needed, 0.0), reach, total))
            for needed, reach in zip(cases.needed, made.T, strict=True)
        ]
    )
    found = Quantiles.of(left, cases.weights)
    return found if np.isfinite(found.mid) else None
