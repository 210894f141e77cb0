"""What each press has pressed this season and is planned to press, the work done meanwhile, what is due."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from wearlog.compare.reliability import OFF_SEASON_S
from wearlog.history.record import NO_RUNS, Record
from wearlog.history.rows import ServiceRow
from wearlog.runs.seasons import SEASON_START, parse_start
from wearlog.service.work import Action
from wearlog.web.drawing.charts.throughput import MARKED
from wearlog.web.site.frames import Frame

DAY_S = 86400.0
SHOWN_WORK = tuple(action for action in MARKED if action != Action.MEASURE)
AHEAD = timedelta(days=92)
"""How much time the calendar shows at least from today on."""
LEAST_IDLE_S = 7 * DAY_S
"""The mill stands where nothing is planned for a week or more between two plans."""
MOST_PRESSES = 12


@dataclass(frozen=True)
class Campaign:
    """Seed of one crop in a row, from start to end (seconds since 1970): pressed, or planned from now on."""

    crop: str
    start: float
    end: float
    pressed: bool
    seed_kg: float


@dataclass(frozen=True)
class PressYear:
    """A line of the calendar. `frame` holds the caution and the jobs of the press, None without jobs; only
    from there are jobs drawn. `stands_since` is when it was locked for work that goes on. `stood`: from when
    until when nothing was pressed for two weeks or more, up to today."""

    press_id: int
    name: str
    campaigns: tuple[Campaign, ...]
    work: tuple[ServiceRow, ...]
    frame: Frame | None
    stands_since: float | None
    stood: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Calendar:
    """From `left` to `right` (seconds since 1970), with today's end between. `idle`: when the mill is planned
    to stand. `crops`: most seed first. `more`: presses that are not shown."""

    presses: tuple[PressYear, ...]
    left: float
    right: float
    today: float
    idle: tuple[tuple[float, float], ...]
    crops: tuple[str, ...]
    more: int

    @property
    def frames(self) -> list[Frame]:
        return [press.frame for press in self.presses if press.frame is not None]


def season_calendar(
    record: Record, frames: Sequence[Frame], *, stands_since: Mapping[int, float] | None = None
) -> Calendar:
    """This season of all presses in service. frames: the jobs that fall due in it, with their cautions.
    stands_since: by press, when it was locked for work."""
    by_press = {frame.press_id: frame for frame in frames}
    left, right = _span(record)
    found = []
    for press in record.presses.values():
        if press.retired_on is not None:
            continue
        campaigns = tuple(_campaigns(record, press.id, left, right))
        found.append(
            PressYear(
                press.id,
                press.label,
                campaigns,
                tuple(
                    row
                    for row in record.services
                    if row.press_id == press.id and row.action in SHOWN_WORK and row.done >= left
                ),
                by_press.get(press.id),
                (stands_since or {}).get(press.id),
                tuple(_stood(campaigns, record.end)),
            )
        )
    seed: dict[str, float] = {}
    for year in found:
        for one in year.campaigns:
            seed[one.crop] = seed.get(one.crop, 0.0) + one.seed_kg
    shown = sorted(found, key=lambda year: not (year.campaigns or year.frame))[:MOST_PRESSES]
    return Calendar(
        presses=tuple(year for year in found if year in shown),
        left=left,
        right=right,
        today=record.end,
        idle=tuple(_idle(record, found)),
        crops=tuple(sorted(seed, key=lambda crop: (-seed[crop], crop))),
        more=len(found) - len(shown),
    )


def ends_on(record: Record) -> date:
    """The last day that the calendar shows: that of the plan, but no day of the season after this one unless
    it is near."""
    near = record.as_of + AHEAD
    planned = max((row.end_on for row in record.plan), default=record.as_of)
    return max(near, min(planned, _season(record)[1]))


def _season(record: Record) -> tuple[date, date]:
    """The first and the last day of the season of the record's day."""
    month, day = parse_start(SEASON_START)
    begun = date(record.as_of.year, month, day)
    if begun > record.as_of:
        begun = date(record.as_of.year - 1, month, day)
    return begun, date(begun.year + 1, month, day) - timedelta(days=1)


def _span(record: Record) -> tuple[float, float]:
    """From the month of the season's first run to the last day."""
    start = record.start_of(_season(record)[0])
    starts = [float(runs.start[runs.start >= start].min(initial=record.end)) for runs in record.runs.values()]
    first = record.day_of(min([*starts, record.end - 1.0]))
    return record.start_of(first.replace(day=1)), record.start_of(ends_on(record) + timedelta(days=1))


def _campaigns(record: Record, press_id: int, left: float, right: float) -> Iterator[Campaign]:
    runs = record.runs.get(press_id) or NO_RUNS
    rows = np.flatnonzero((runs.start >= left) & ~runs.purge)
    open_: Campaign | None = None
    for row in rows.tolist():
        crop, start, end = record.crops[int(runs.crop[row])], float(runs.start[row]), float(runs.end[row])
        seed = float(runs.seed_kg[row])
        if open_ is not None and open_.crop == crop and start - open_.end <= OFF_SEASON_S:
            open_ = Campaign(crop, open_.start, max(end, open_.end), True, open_.seed_kg + seed)
            continue
        if open_ is not None:
            yield open_
        open_ = Campaign(crop, start, end, True, seed)
    if open_ is not None:
        yield open_
    for plan in record.plan:
        if plan.press_id == press_id and plan.end_on > record.as_of:
            start, end = record.start_of(plan.start_on), record.start_of(plan.end_on + timedelta(days=1))
            begun = max(start, record.end)
            if begun < right:
                seed = plan.seed_kg * (end - begun) / (end - start)
                yield Campaign(record.crops[plan.crop], begun, min(end, right), False, seed)


def _stood(campaigns: Sequence[Campaign], today: float) -> Iterator[tuple[float, float]]:
    """After each campaign until the next, and after the last until today."""
    pressed = [one for one in campaigns if one.pressed]
    begins = [*(one.start for one in pressed[1:]), today]
    for before, begin in zip(pressed, begins, strict=False):
        if begin - before.end > OFF_SEASON_S:
            yield before.end, begin


def _idle(record: Record, presses: Sequence[PressYear]) -> Iterator[tuple[float, float]]:
    """Where no press has a plan for a week or more, between today and the last plan."""
    spans = sorted((one.start, one.end) for year in presses for one in year.campaigns if not one.pressed)
    until = record.end
    for (_, before), (start, end) in pairwise([(record.end, record.end), *spans]):
        until = max(until, before)
        if start - until >= LEAST_IDLE_S:
            yield until, start
        until = max(until, end)
