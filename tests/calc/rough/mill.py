"""A made-up mill: what truly happened in it, and what its log held on any day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

import numpy as np

from tests.calc.rough.kinds import Kind, PartType
from wearlog.calc.candidates import PRESENT, Candidates
from wearlog.calc.season import DailySeed, PlanLine, Reach, coming_season, plan_misses, reach
from wearlog.calc.wear import EdgeRecord, Gauge, TypeRecord, Work, answers, learn

FIRST_YEAR = 2021
FIRST_DAY = date(FIRST_YEAR, 8, 2).toordinal()
FURTHER_SEASONS = 10
Key = tuple[str, str]


def season_of(day: int) -> int:
    """The season, from 0, of a day of the record (0 is the first); seasons begin on 1 July."""
    on = date.fromordinal(FIRST_DAY + day)
    return on.year - FIRST_YEAR - (on.month < 7)


def by_season_of_year(kind: Kind, days: np.ndarray) -> np.ndarray:
    """By how much seed of a kind's mills wears more than in the year's mean, on days of the record."""
    turned = 2.0 * np.pi * (days + FIRST_DAY - date(FIRST_YEAR, 1, 15).toordinal()) / 365.25
    return np.asarray(np.exp(kind.wear.moisture * np.cos(turned)))


@dataclass(frozen=True)
class Reading:
    """`day` is when it was read, `written` the day that the log has."""

    day: int
    written: int
    value: float
    bound: str = ""
    work: int | None = None

    def known(self, day: int) -> bool:
        return max(self.day, self.written) <= day


@dataclass
class Life:
    """A stretch of an edge that comes to its limit if nothing changes: from new, from a hard-facing, or from
    the day on which it went back on.

    own: the multiplier of wear. rates: progress per kilogram and crop that is usual, shape (crops,). due: the
    progress at which the limit is reached. made: progress by the end of each day, shape (days,). progress:
    that of the last day. paces, pace: the same of the logarithm of its pace. came: the day on which the limit
    was reached, or would have been had the edge stayed on; None where the record ends before.
    """

    begun: int
    own: float
    rates: np.ndarray
    due: float
    made: np.ndarray
    paces: np.ndarray
    progress: float = 0.0
    pace: float = 0.0
    came: int | None = None


@dataclass
class Edge:
    type: PartType
    part: str
    name: str
    share: float
    kg: np.ndarray  # (days, crops)
    started: int
    presses: list[tuple[int, int]]  # from which day on which press
    lives: list[Life] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    works: list[int] = field(default_factory=list)  # the days on which it was hard-faced
    off: list[tuple[int, int | None]] = field(default_factory=list)  # from which day to which on the shelf
    ended: int | None = None

    @property
    def key(self) -> Key:
        return (self.part, self.name)

    @property
    def crossed(self) -> int | None:
        """The day on which it was worn out for good."""
        return self.lives[-1].came

    def life(self, day: int) -> int:
        """The index of the life that it is in at the end of a day."""
        return max(index for index, life in enumerate(self.lives) if life.begun <= day)

    def press(self, day: int) -> int:
        return [press for begun, press in self.presses if begun <= day][-1]

    def shelved(self, day: int) -> bool:
        return any(begun <= day and (end is None or day < end) for begun, end in self.off)

    @cached_property
    def by_harvest(self) -> np.ndarray:
        """Seed up to the end of each day by season and crop, shape (days, seasons * crops)."""
        days, crops = self.kg.shape
        seasons = np.array([season_of(day) for day in (0, days - 1)])
        turns = [date(FIRST_YEAR + n, 7, 1).toordinal() - FIRST_DAY for n in range(1, seasons[1] + 1)]
        split = np.zeros((days, seasons[1] + 1, crops))
        split[np.arange(days), np.searchsorted(turns, np.arange(days), side="right")] = self.kg
        return np.asarray(np.cumsum(split.reshape(days, -1), axis=0))


@dataclass(frozen=True, kw_only=True)
class Happened:
    """What no log holds. plan, kept: per press the plans as they stood at first, and pressed over planned
    seed of each line but for what follows: side, of all plans; the days on which use doubles and two presses
    change screws; rests per press, from a day to before another. harvest: the logarithm of how much more than
    usual the harvests of each season and crop wear, shape (seasons, crops); campaign: the same on one press
    besides, shape (presses, seasons, crops). dirty: the days flagged so, shape (presses, days)."""

    plan: list[list[PlanLine]]
    kept: list[list[float]]
    side: float
    doubled: int
    moved: int
    rests: list[list[tuple[int, int]]]
    harvest: np.ndarray
    campaign: np.ndarray
    dirty: np.ndarray


@dataclass(frozen=True)
class Mill:
    kind: Kind
    edges: list[Edge]
    seed: list[np.ndarray]  # per press: (days, crops)
    plan: list[list[PlanLine]]
    days: int
    happened: Happened

    def in_use(self, day: int) -> list[Edge]:
        """Edges at work or waiting on a day (0 is the first): the newest edge of each part that lives."""
        newest: dict[str, Edge] = {}
        for edge in self.edges:
            if edge.started <= day and (edge.part not in newest or edge.started > newest[edge.part].started):
                newest[edge.part] = edge
        return [edge for edge in newest.values() if edge.ended is None or edge.ended > day]

    def known_plan(self, press: int, day: int) -> list[PlanLine]:
        """What was planned for a press by the end of `day`."""
        return [line for line in self.plan[press] if line.planned is None or line.planned <= FIRST_DAY + day]

    def past(self, press: int, day: int) -> DailySeed:
        return DailySeed(first=FIRST_DAY, kg=self.seed[press][: day + 1])

    def records(self, day: int) -> list[TypeRecord]:
        """What the log holds at the end of `day`, with a column for each crop of each season."""
        columns = (season_of(day) + 1) * self.kind.crops
        by_type: dict[str, list[EdgeRecord]] = defaultdict(list)
        for edge in self.edges:
            if edge.started <= day:
                by_type[edge.type.name].append(self._record(edge, day, edge.by_harvest[:, :columns]))
        told = self.kind.life_told
        return [
            TypeRecord(
                key=t.name,
                new=t.new,
                limit=t.limit,
                crops=self.kind.crops,
                expected_life_kg=None if told is None else told * t.life_kg,
                harvests=tuple(range(self.kind.crops)) * (season_of(day) + 1),
                edges=tuple(by_type[t.name]),
            )
            for t in self.kind.types
        ]

    def _record(self, edge: Edge, day: int, total: np.ndarray) -> EdgeRecord:
        readings = [reading for reading in edge.readings if reading.known(day)]
        works = [at for at in edge.works if at <= day]
        over = edge.ended is not None and edge.ended <= day
        return EdgeRecord(
            key=edge.key,
            part=edge.part,
            gauges=tuple(
                Gauge(
                    at=float(reading.written),
                    value=reading.value,
                    bound=reading.bound,
                    phase="" if reading.work is None else "after",
                    work=reading.work,
                )
                for reading in readings
            ),
            gauge_kg=total[[reading.written for reading in readings]].reshape(len(readings), total.shape[1]),
            works=tuple(Work(id=number, at=at + 0.5, resets=True) for number, at in enumerate(works)),
            work_kg=total[works].reshape(len(works), total.shape[1]),
            now_kg=total[day],
            worn_out=over and self.kind.readings.told_worn,
            in_use=not over,
        )

    def forecast(self, day: int) -> dict[Key, Reach]:
        """Early, middle and late day for each edge in use by the wear model alone, from what the log holds at
        the end of `day`."""
        return {key: said[PRESENT] for key, said in self.candidates(day, others=False).items()}

    def candidates(self, day: int, *, others: bool = True) -> dict[Key, dict[str, Reach]]:
        """The same by each candidate model."""
        as_of = FIRST_DAY + day
        turns = [
            date(FIRST_YEAR + season_of(day) + ahead, 7, 1).toordinal()
            for ahead in range(1, FURTHER_SEASONS + 2)
        ]
        seasons = []
        for press in range(len(self.seed)):
            past, plan = self.past(press, day), self.known_plan(press, day)
            misses = plan_misses(as_of=as_of, past=past, plan=plan)
            seasons.append(coming_season(as_of=as_of, past=past, plan=plan, misses=misses, turns=turns))
        records = self.records(day)
        types = {
            record.key: Candidates(record, learned, answers(record, learned))
            for record, learned in zip(records, learn(records), strict=True)
        }
        found = {}
        for edge in self.in_use(day):
            mine = types[edge.type.name]
            fits = {PRESENT: mine.present.edges[edge.key]}
            if others:
                fits |= mine.fits(edge.key)
            past = DailySeed(first=FIRST_DAY, kg=edge.kg[: day + 1])
            found[edge.key] = {
                name: reach(
                    edge=fit,
                    season=seasons[edge.press(day)],
                    share=edge.share,
                    for_crops=edge.type.crops,
                    past=past,
                )
                for name, fit in fits.items()
            }
        return found


def days_from_start(answer: Reach) -> tuple[int, int, int] | None:
    """Early, middle and late day of the record; None where one of them is missing."""
    if answer.early is None or answer.mid is None or answer.late is None:
        return None
    early, mid, late = (on.toordinal() - FIRST_DAY for on in (answer.early, answer.mid, answer.late))
    return early, mid, late


def asked_days(mill: Mill, dates: int) -> Sequence[int]:
    """The days on which forecasts are asked for."""
    return [int(mill.days * part) for part in np.linspace(*mill.kind.asked, dates)]
