"""A made-up mill whose wear is known, to measure forecasts against.

Up to three presses (the third with two barrels), crops one after the other through the year, dies on every
barrel, two edges per die, one screw per barrel. Every number in `Kind` is invented for the tests; none is
taken from a real mill.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from wearlog.calc.season import DailySeed, PlanLine, Reach, coming_season, plan_misses, reach
from wearlog.calc.wear import EdgeRecord, Gauge, TypeRecord, fit_fleet

RAPE, LINSEED, SUNFLOWER = range(3)
FIRST_DAY = date(2021, 8, 2).toordinal()
Season = tuple[int, tuple[int, int], tuple[int, int]]
SEASONS: tuple[Season, ...] = (
    (RAPE, (8, 10), (10, 20)),
    (SUNFLOWER, (11, 1), (1, 31)),
    (LINSEED, (3, 1), (4, 30)),
)


@dataclass(frozen=True)
class PartType:
    name: str
    new: float
    limit: float
    crops: tuple[int, ...]
    edges: tuple[str, ...]
    life_kg: float  # what the maker says; the true life differs

    @property
    def budget(self) -> float:
        return abs(self.limit - self.new)


TYPES = (
    PartType("small die", 5.0, 5.4, (RAPE, LINSEED), ("A", "B"), 42_000.0),
    PartType("large die", 10.0, 10.4, (SUNFLOWER,), ("A", "B"), 42_000.0),
    PartType("screw", 70.0, 69.0, (RAPE, LINSEED, SUNFLOWER), ("",), 230_000.0),
)

Shape = Callable[[np.ndarray], np.ndarray]


def straight(u: np.ndarray) -> np.ndarray:
    """Wear in parts of the budget, from progress in parts of the budget."""
    return u


def run_in(u: np.ndarray) -> np.ndarray:
    """A quarter of the budget goes fast at first, then a steady pace."""
    return 0.25 * (1.0 - np.exp(-u / 0.06)) + 0.75 * u


def acceleration(u: np.ndarray) -> np.ndarray:
    """Steady up to about half of the budget, then ever faster."""
    return 0.6 * u + 0.4 * np.maximum(u, 0.0) ** 4


def fast_steady_fast(u: np.ndarray) -> np.ndarray:
    return 0.15 * (1.0 - np.exp(-u / 0.05)) + 0.65 * u + 2.5 * np.maximum(u - 0.7, 0.0) ** 2


@dataclass(frozen=True)
class Kind:
    shape: Shape = straight
    years: int = 8
    gauge_days: float = 10.0
    gauge_sd: float = 0.02
    slips: float = 0.03
    typed: float = (
        0.0  # a reading typed with its decimal point one place off, or with two digits changed over
    )
    wander: float = 0.0  # wear comes in gamma-distributed steps, of this variance over a life in budgets
    part_spread: float = 0.2
    edge_spread: float = 0.02
    crop_spread: float = 0.35
    plan_miss: float = 0.10
    at_crop_change: bool = False  # gauge at each change of crop too
    removed_by_gauge: bool = False  # the edge goes when a reading passes the limit, not when the wear does
    told_worn: bool = True
    presses: int = 3
    life_told: float | None = (
        1.0  # what the maker says in parts of `PartType.life_kg`; None where he is silent
    )
    types: tuple[PartType, ...] = TYPES
    seasons: tuple[Season, ...] = SEASONS

    @property
    def crops(self) -> int:
        return 1 + max(crop for crop, _, _ in self.seasons)


@dataclass
class Edge:
    type: PartType
    part: str
    name: str
    press: int
    share: float
    multiplier: float
    kg: np.ndarray  # (days, crops)
    started: int
    gauges: list[tuple[int, float]] = field(default_factory=list)
    crossed: int | None = None
    ended: int | None = None

    @property
    def key(self) -> tuple[str, str]:
        return (self.part, self.name)


@dataclass(frozen=True)
class Mill:
    kind: Kind
    edges: list[Edge]
    seed: list[np.ndarray]  # per press: (days, crops)
    plan: list[list[PlanLine]]
    days: int

    def in_use(self, day: int) -> list[Edge]:
        """Edges at work or waiting on a day (0 is the first): the newest edge of each part that lives."""
        newest: dict[str, Edge] = {}
        for edge in self.edges:
            if edge.started <= day and (edge.part not in newest or edge.started > newest[edge.part].started):
                newest[edge.part] = edge
        return [edge for edge in newest.values() if edge.ended is None or edge.ended > day]

    def records(self, day: int) -> list[TypeRecord]:
        """What the log holds at the end of `day`."""
        by_type: dict[str, list[EdgeRecord]] = defaultdict(list)
        for edge in self.edges:
            if edge.started > day:
                continue
            total = np.cumsum(edge.kg, axis=0)
            gauges = [(at, value) for at, value in edge.gauges if at <= day]
            over = edge.ended is not None and edge.ended <= day
            by_type[edge.type.name].append(
                EdgeRecord(
                    key=edge.key,
                    part=edge.part,
                    gauges=tuple(Gauge(at=float(at), value=value) for at, value in gauges),
                    gauge_kg=total[[at for at, _ in gauges]].reshape(len(gauges), self.kind.crops),
                    work_kg=np.zeros((0, self.kind.crops)),
                    now_kg=total[day],
                    worn_out=over and self.kind.told_worn,
                    in_use=not over,
                )
            )
        return [
            TypeRecord(
                key=t.name,
                new=t.new,
                limit=t.limit,
                crops=self.kind.crops,
                expected_life_kg=None if self.kind.life_told is None else self.kind.life_told * t.life_kg,
                edges=tuple(by_type[t.name]),
            )
            for t in self.kind.types
        ]

    def forecast(self, day: int) -> dict[tuple[str, str], Reach]:
        """Early, middle and late day for each edge in use, from what the log holds at the end of `day`."""
        as_of = FIRST_DAY + day
        seasons = []
        for press, seed in enumerate(self.seed):
            past = DailySeed(first=FIRST_DAY, kg=seed[: day + 1])
            misses = plan_misses(as_of=as_of, past=past, plan=self.plan[press])
            seasons.append(coming_season(as_of=as_of, past=past, plan=self.plan[press], misses=misses))
        fits = {fit.key: fit for fit in fit_fleet(self.records(day))}
        return {
            edge.key: reach(
                edge=fits[edge.type.name].edges[edge.key],
                season=seasons[edge.press],
                share=edge.share,
                for_crops=edge.type.crops,
                past=DailySeed(first=FIRST_DAY, kg=edge.kg[: day + 1]),
            )
            for edge in self.in_use(day)
        }

    def lumped(self, edge: Edge, day: int) -> int | None:
        """The day by the crude rule: wear at the last gauge over the kilograms so far, along the plan."""
        gauges = [(at, value) for at, value in edge.gauges if at <= day]
        if not gauges:
            return None
        at, value = gauges[-1]
        worn = (value - edge.type.new) * (1 if edge.type.limit > edge.type.new else -1)
        kg = edge.kg[: at + 1].sum()
        if kg <= 0 or worn <= 0:
            return None
        left = edge.type.budget / (worn / kg) - edge.kg[: day + 1].sum()
        if left <= 0:
            return day
        path = np.zeros(1000)
        for line in self.plan[edge.press]:
            if line.crop in edge.type.crops:
                for d in range(line.start, line.end + 1):
                    ahead = d - FIRST_DAY - day - 1
                    if 0 <= ahead < 1000:
                        path[ahead] += edge.share * line.seed_kg / (line.end - line.start + 1)
        reached = np.flatnonzero(np.cumsum(path) >= left)
        return day + 1 + int(reached[0]) if len(reached) else None


@dataclass(frozen=True)
class Score:
    forecasts: int = 0
    missing: int = 0
    covered: int = 0
    error: float = 0.0
    crude_error: float = 0.0
    early: int = 0
    late: int = 0
    width: float = 0.0

    @property
    def coverage(self) -> float:
        return self.covered / max(self.forecasts - self.missing, 1)

    @property
    def ratio(self) -> float:
        return self.error / self.crude_error if self.crude_error else float("nan")

    def __add__(self, other: Score) -> Score:
        return Score(*(a + b for a, b in zip(vars(self).values(), vars(other).values(), strict=True)))


def score(mill: Mill, dates: int = 8) -> Score:
    """Forecasts of every edge in use on `dates` days of the record's first 60 %, held against the truth."""
    result = Score()
    for index in range(dates):
        day = int(mill.days * (0.2 + 0.4 * index / dates))
        got = mill.forecast(day)
        for edge in mill.in_use(day):
            crude = mill.lumped(edge, day)
            if crude is None or not 3 <= crude - day <= 400:
                continue
            if edge.crossed is not None and edge.crossed <= day:
                continue
            if edge.crossed is None and edge.ended is not None:
                continue  # taken off before its time: nobody knows when it would have been
            result = replace(result, forecasts=result.forecasts + 1)
            answer = got[edge.key]
            if answer.early is None or answer.mid is None or answer.late is None:
                result = replace(result, missing=result.missing + 1)
                continue
            low, mid, high = (d.toordinal() - FIRST_DAY for d in (answer.early, answer.mid, answer.late))
            if edge.crossed is None:
                result = replace(result, covered=result.covered + (high > mill.days))
                continue
            result = replace(
                result,
                covered=result.covered + (low <= edge.crossed <= high),
                early=result.early + (edge.crossed < low),
                late=result.late + (edge.crossed > high),
                error=result.error + abs(mid - edge.crossed),
                crude_error=result.crude_error + abs(crude - edge.crossed),
                width=result.width + (high - low),
            )
    return result


def mill(kind: Kind, seed: int) -> Mill:
    """A mill of a kind. The same seed gives the same mill."""
    return _Builder(kind, seed).build()


class _Builder:
    def __init__(self, kind: Kind, seed: int) -> None:
        self.kind = kind
        self.random = np.random.default_rng(seed)
        self.days = int(365.25 * kind.years)
        self.edges: list[Edge] = []
        self.made: dict[str, int] = defaultdict(int)
        # Seed per day of an edge that lives as long as the maker says, give or take.
        self.rates = {
            t.name: t.budget
            / t.life_kg
            * np.exp(self.random.normal(0.0, 0.2) + self.random.normal(0.0, kind.crop_spread, kind.crops))
            for t in kind.types
        }

    def build(self) -> Mill:
        throughput = self.random.uniform(320.0, 440.0, 3) * np.array([1.0, 1.0, 2.0])
        plans = [self._plan(t) for t in throughput[: self.kind.presses]]
        seed = [self._pressed(plan) for plan in plans]
        for press, pressed in enumerate(seed):
            for _ in range(2 if press == 2 else 1):
                self._barrel(press, pressed * (0.5 if press == 2 else 1.0))
        return Mill(kind=self.kind, edges=self.edges, seed=seed, plan=plans, days=self.days)

    def _plan(self, throughput: float) -> list[PlanLine]:
        lines = []
        for year in range(2021, 2021 + self.kind.years + 3):
            for crop, start, end in self.kind.seasons:
                begin = date(year + (start[0] < 8), *start).toordinal()
                until = date(year + (end[0] < 8), *end).toordinal()
                kg = throughput * (until - begin + 1) * np.exp(self.random.normal(0.0, 0.12))
                lines.append(PlanLine(crop=crop, start=begin, end=until, seed_kg=float(kg)))
        return lines

    def _pressed(self, plan: list[PlanLine]) -> np.ndarray:
        out = np.zeros((self.days, self.kind.crops))
        for line in plan:
            daily = line.seed_kg / (line.end - line.start + 1)
            factor = np.exp(self.random.normal(-0.02, self.kind.plan_miss))
            for day in range(line.start - FIRST_DAY, min(line.end + 1 - FIRST_DAY, self.days)):
                out[day, line.crop] += daily * factor * self.random.uniform(0.4, 1.6)
        return out

    def _barrel(self, press: int, seed: np.ndarray) -> None:
        share = 0.5 if press == 2 else 1.0
        crops = np.arange(self.kind.crops)
        used_for = {t.name: np.isin(crops, t.crops).astype(float) for t in self.kind.types}
        current: dict[str, Edge] = {}
        progress: dict[tuple[str, str], float] = {}
        strayed: dict[tuple[str, str], float] = defaultdict(float)
        for day in range(self.days):
            for t in self.kind.types:
                taken = seed[day] * used_for[t.name]
                if t.name not in current:
                    current[t.name] = self._new_part(t, press, share, day)
                edge = current[t.name]
                if not taken.any():
                    continue
                edge.kg[day] += taken
                made = progress.get(edge.key, 0.0) + float(taken @ self.rates[t.name])
                progress[edge.key] = made
                wear = edge.multiplier * t.budget * float(self.kind.shape(np.array(made / t.budget)))
                if self.kind.wander:
                    step = edge.multiplier * float(taken @ self.rates[t.name]) / t.budget
                    strayed[edge.key] += self.random.gamma(step / self.kind.wander) * self.kind.wander
                    wear = strayed[edge.key] * t.budget
                if edge.crossed is None and wear >= t.budget:
                    edge.crossed = day
                value = self._gauge(edge, day, wear, seed)
                passed = value is not None and (value - t.limit) * (t.limit - t.new) >= 0
                if passed if self.kind.removed_by_gauge else edge.crossed is not None:
                    edge.ended = day
                    if value is None:
                        self._read(edge, day, wear)
                    current[t.name] = self._next_edge(edge, day)

    def _gauge(self, edge: Edge, day: int, wear: float, seed: np.ndarray) -> float | None:
        due = self.random.random() < 1.0 / self.kind.gauge_days
        last = day + 1 < self.days and not np.array_equal(seed[day] > 0, seed[day + 1] > 0)
        if due or (last and self.kind.at_crop_change):
            return self._read(edge, day, wear)
        return None

    def _read(self, edge: Edge, day: int, wear: float) -> float:
        error = self.random.normal(0.0, self.kind.gauge_sd)
        if self.random.random() < self.kind.slips:
            error += self.random.choice([-1, 1]) * self.random.uniform(0.1, 0.5)
        toward = 1.0 if edge.type.limit > edge.type.new else -1.0
        value = round(edge.type.new + toward * wear + error, 3)
        if self.kind.typed and self.random.random() < self.kind.typed:
            value = self._mistyped(value)
        edge.gauges.append((day, value))
        return value

    def _mistyped(self, value: float) -> float:
        if self.random.random() < 0.5:
            return round(value * float(self.random.choice([0.1, 10.0])), 3)
        whole, decimals = f"{value:.2f}".split(".")
        return float(f"{whole}.{decimals[::-1]}")

    def _new_part(self, t: PartType, press: int, share: float, day: int) -> Edge:
        self.made[t.name] += 1
        part = f"{t.name} {self.made[t.name]}"
        own = float(np.exp(self.random.normal(0.0, self.kind.part_spread)))
        return self._edge(t, part, t.edges[0], press, share, own, day)

    def _next_edge(self, edge: Edge, day: int) -> Edge:
        names = edge.type.edges
        later = names.index(edge.name) + 1
        if later == len(names):
            return self._new_part(edge.type, edge.press, edge.share, day + 1)
        own = edge.multiplier * float(np.exp(self.random.normal(0.0, self.kind.edge_spread)))
        return self._edge(edge.type, edge.part, names[later], edge.press, edge.share, own, day + 1)

    def _edge(
        self, t: PartType, part: str, name: str, press: int, share: float, multiplier: float, day: int
    ) -> Edge:
        edge = Edge(t, part, name, press, share, multiplier, np.zeros((self.days, self.kind.crops)), day)
        self.edges.append(edge)
        return edge


STRAIGHT = Kind()
SPARSE = Kind(gauge_days=60.0, at_crop_change=True)
RUN_IN = Kind(shape=run_in)
ACCELERATION = Kind(shape=acceleration)
