"""The throughput of a press over one season: kilograms of seed per hour, and the work done meanwhile.

Only runs that tell output per hour count (`RunColumns.tell_output`); their hours are those of the record.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from wearlog.compare.reliability import OFF_SEASON_S
from wearlog.history.record import NO_RUNS, Record
from wearlog.history.rows import Floats, Ints, RunColumns
from wearlog.runs.seasons import SEASON_START, parse_start, season_name, season_years
from wearlog.service.models import Service
from wearlog.service.queries import gauges_on
from wearlog.service.work import Action
from wearlog.words.kinds import fitted_part_words

MOST_POINTS = 60
"""With more runs than this in a season, each point is a week of one crop."""
MARKED = (Action.REPLACE, Action.FLIP, Action.TURN, Action.POLISH, Action.MEASURE)
"""The work that is marked; what comes first here is named first where room is short."""


@dataclass(frozen=True)
class RatePoint:
    """One run, or the runs of one crop in one week: from the first start to the last end (seconds since
    1970). `stretch` numbers what a line joins: the points of one crop in a row, without a stop of two
    weeks."""

    on: date
    """The day of a run, the Monday of a week."""
    crop: str
    start: float
    end: float
    seed_kg: float
    hours_h: float
    stretch: int

    @property
    def middle(self) -> float:
        return (self.start + self.end) / 2

    @property
    def kg_per_h(self) -> float:
        return self.seed_kg / self.hours_h


def pace_of(points: Sequence[RatePoint]) -> float:
    """Kilograms per hour of these points together."""
    return sum(point.seed_kg for point in points) / sum(point.hours_h for point in points)


@dataclass(frozen=True)
class CropRate:
    """The seed of one crop over its hours, and the slowest and the fastest point."""

    crop: str
    kg_per_h: float
    low: float
    high: float
    points: int


@dataclass(frozen=True)
class MarkedWork:
    """Work of one kind on a part (in words, empty for the press itself) at an instant."""

    at: float
    on: date
    action: Action
    part: str


@dataclass(frozen=True)
class SeasonThroughput:
    """Points in order of time. `season` is the one shown, `this_season` the one of the record's day; an
    earlier one is shown while this one has no point. Without points both are the same. `left_out` is the
    number of runs of the season that do not tell output per hour."""

    season: str
    this_season: str
    points: tuple[RatePoint, ...]
    weekly: bool
    work: tuple[MarkedWork, ...]
    left_out: int

    @property
    def is_earlier(self) -> bool:
        return self.season != self.this_season

    @property
    def crops(self) -> tuple[CropRate, ...]:
        """By crop, the one with the most hours first."""
        own: dict[str, list[RatePoint]] = defaultdict(list)
        for point in self.points:
            own[point.crop].append(point)
        hours = {crop: sum(point.hours_h for point in points) for crop, points in own.items()}
        return tuple(
            CropRate(
                crop=crop,
                kg_per_h=pace_of(own[crop]),
                low=min(point.kg_per_h for point in own[crop]),
                high=max(point.kg_per_h for point in own[crop]),
                points=len(own[crop]),
            )
            for crop in sorted(own, key=lambda crop: (-hours[crop], crop))
        )


def season_throughput(record: Record, press_id: int, services: Iterable[Service]) -> SeasonThroughput:
    """This season's throughput of the press, or that of the last season in which a run told it. `services`:
    work on the press with its parts, of which other work than `MARKED` is passed over."""
    start = parse_start(SEASON_START)
    today = int(season_years(np.array([record.end - 1.0]), start, record.zone)[0])
    runs, hours = _runs(record, press_id)
    years = season_years(runs.start, start, record.zone)
    telling = runs.tell_output(hours)
    year = int(years[telling].max(initial=0)) or today
    rows = np.flatnonzero(telling & (years == year))
    weekly = rows.size > MOST_POINTS
    points = _joined(_points(record, runs, hours, rows, weekly=weekly))
    until = record.end if year == today else (points[-1].end if points else record.end)
    since = points[0].start if points else until
    return SeasonThroughput(
        season=season_name(year, start),
        this_season=season_name(today, start),
        points=points,
        weekly=weekly,
        work=tuple(work for work in _work(press_id, services, record.zone) if since <= work.at <= until),
        left_out=int(np.count_nonzero(~telling & (years == year))),
    )


def season_points(record: Record, press_id: int) -> tuple[RatePoint, ...]:
    """This season's points alone, as in `season_throughput`."""
    start = parse_start(SEASON_START)
    runs, hours = _runs(record, press_id)
    years = season_years(np.append(runs.start, record.end - 1.0), start, record.zone)
    rows = np.flatnonzero(runs.tell_output(hours) & (years[:-1] == years[-1]))
    return _joined(_points(record, runs, hours, rows, weekly=rows.size > MOST_POINTS))


def _runs(record: Record, press_id: int) -> tuple[RunColumns, Floats]:
    runs = record.runs.get(press_id) or NO_RUNS
    return runs, record.run_hours(press_id) if runs.start.size else np.zeros(0)


def _points(
    record: Record, runs: RunColumns, hours: Floats, rows: Ints, *, weekly: bool
) -> Iterator[RatePoint]:
    """A point for each of the runs at the indexes `rows`, or for each week (from Monday) and crop of them."""
    groups: dict[tuple[date, int], list[int]] = defaultdict(list)
    for row in rows.tolist():
        day = record.day_of(float(runs.start[row]))
        monday = day - timedelta(days=day.weekday())
        groups[(monday, int(runs.crop[row])) if weekly else (day, row)].append(row)
    for (day, _), group in groups.items():
        yield RatePoint(
            on=day,
            crop=record.crops[int(runs.crop[group[0]])],
            start=float(runs.start[group].min()),
            end=float(runs.end[group].max()),
            seed_kg=float(runs.seed_kg[group].sum()),
            hours_h=float(hours[group].sum()),
            stretch=0,
        )


def _joined(points: Iterator[RatePoint]) -> tuple[RatePoint, ...]:
    """The points in order of time, with their stretches numbered."""
    found: list[RatePoint] = []
    stretch = 0
    for point in sorted(points, key=lambda point: (point.middle, point.crop)):
        before = found[-1] if found else None
        if before is not None and (point.crop != before.crop or point.start - before.end > OFF_SEASON_S):
            stretch += 1
        found.append(replace(point, stretch=stretch))
    return tuple(found)


def _work(press_id: int, services: Iterable[Service], zone: ZoneInfo) -> list[MarkedWork]:
    """All work of the press that is marked, in order of time; of the same on one day the first. A gauge
    during such work is part of it."""
    found: list[MarkedWork] = []
    known = set()
    for service in services:
        if service.action in MARKED:
            known.add(service.pk)
            part = "" if service.part is None else fitted_part_words(service.part, service.edge)
            found.append(_marked(service.done_at, zone, Action(service.action), part))
    for gauge in gauges_on(press_id):
        if gauge.service_id not in known:
            part = fitted_part_words(gauge.part, gauge.edge)
            found.append(_marked(gauge.measured_at, zone, Action.MEASURE, part))
    found.sort(key=lambda work: (work.at, MARKED.index(work.action), work.part))
    once: dict[object, MarkedWork] = {}
    for work in found:
        once.setdefault((work.on, work.action, work.part), work)
    return list(once.values())


def _marked(at: datetime, zone: ZoneInfo, action: Action, part: str) -> MarkedWork:
    return MarkedWork(at.timestamp(), at.astimezone(zone).date(), action, part)
