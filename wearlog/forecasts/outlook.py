"""What lies ahead of each press: seed and hours along its plan or pace, as curves that give dates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cached_property, lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from wearlog.calc.season import DailySeed, PlanLine, Season, coming_season
from wearlog.forecasts.triggers import why
from wearlog.history.record import Record
from wearlog.history.rows import WORKED_OUT, Floats

TENTH = 1.2815515655446004
"""Standard normal distance of the 10 % and 90 % points from the middle."""


@dataclass(frozen=True, eq=False)
class Path:
    """An amount that grows from the end of the as-of day on.

    `total[k]` is expected by the end of the k-th day after it (`total[0]` is 0), `spread[k]` its standard
    deviation."""

    as_of: date
    total: Floats
    spread: Floats

    def day(self, amount: float, sure: float = 0.0) -> date | None:
        """The day on which the amount is reached, at `sure` standard deviations more (or fewer, where
        negative) than expected; None beyond what is known."""
        curve = np.maximum.accumulate(self.total + sure * self.spread)
        place = int(np.searchsorted(curve, amount * (1 - 1e-9), side="left"))
        return self.as_of + timedelta(days=max(place, 1)) if place < curve.size else None

    def by(self, day: date) -> float:
        """What is expected by the end of the day."""
        return float(self.total[min(max((day - self.as_of).days, 0), self.total.size - 1)])


@lru_cache(maxsize=16)
def _midnights(zone: ZoneInfo, year: int, as_of: date) -> Floats:
    """0:00 of each day from the beginning of a year to the day after the as-of day."""
    first = date(year, 1, 1)
    found = np.array(
        [
            datetime.combine(first + timedelta(days=day), time.min, zone).timestamp()
            for day in range((as_of - first).days + 2)
        ]
    )
    found.setflags(write=False)
    return found


class Outlook:
    """Seasons and paths of every press, each worked out once."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self._past: dict[int, DailySeed | None] = {}
        self._season: dict[int, Season | None] = {}

    @cached_property
    def first_day(self) -> date:
        """The day of the first run in the mill."""
        starts = [float(runs.start[0]) for runs in self.record.runs.values() if runs.start.size]
        return self.record.day_of(min(starts, default=self.record.end - 1))

    @cached_property
    def midnights(self) -> Floats:
        """0:00 of each day from `first_day` to the one after the as-of day."""
        whole = _midnights(self.record.zone, self.first_day.year, self.record.as_of)
        return whole[min((self.first_day - date(self.first_day.year, 1, 1)).days, whole.size - 2) :]

    def past(self, press_id: int) -> DailySeed | None:
        """What the press took each day up to the as-of day; None without a run."""
        if press_id not in self._past:
            runs = self.record.runs.get(press_id)
            if runs is None or runs.start.size == 0:
                self._past[press_id] = None
            else:
                skip = (self.record.day_of(float(runs.start[0])) - self.first_day).days
                edges = self.midnights[skip:]
                kg = self.record.timelines[press_id].kilograms(edges[:-1], edges[1:])
                self._past[press_id] = DailySeed(first=self.first_day.toordinal() + skip, kg=kg)
        return self._past[press_id]

    def plan_lines(self, press_id: int) -> list[PlanLine]:
        return [
            PlanLine(
                crop=row.crop, start=row.start_on.toordinal(), end=row.end_on.toordinal(), seed_kg=row.seed_kg
            )
            for row in self.record.plan
            if row.press_id == press_id
        ]

    def season(self, press_id: int) -> Season | None:
        """What the press is expected to take; None for a retired press and where nothing tells."""
        if press_id not in self._season:
            self._season[press_id] = self._coming(press_id)
        return self._season[press_id]

    def _coming(self, press_id: int) -> Season | None:
        if self.record.presses[press_id].retired_on is not None or not self.record.crops:
            return None
        past = self.past(press_id)
        if past is None:
            past = DailySeed(first=self.record.as_of.toordinal(), kg=np.zeros((1, len(self.record.crops))))
        return coming_season(as_of=self.record.as_of.toordinal(), past=past, plan=self.plan_lines(press_id))

    def hours_per_kg(self, press_id: int) -> Floats | None:
        """The press's own hours per kilogram of each crop; the mean of its crops for one it never ran."""
        runs = self.record.runs.get(press_id)
        if runs is None or not runs.seed_kg.sum() > 0:
            return None
        crops = len(self.record.crops)
        hours = self.record.press_hours(press_id)
        # What was worked out from the usual rate would only repeat it.
        told = runs.seed_how != WORKED_OUT
        seed = np.bincount(runs.crop[told], weights=runs.seed_kg[told], minlength=crops)
        spent = np.bincount(runs.crop[told], weights=hours[told], minlength=crops)
        if not spent.sum() > 0:
            return None
        with np.errstate(divide="ignore", invalid="ignore"):
            each = np.where(seed > 0, spent / seed, spent.sum() / seed.sum())
        return np.asarray(each * self._counted_per_logged(press_id))

    def _counted_per_logged(self, press_id: int) -> float:
        """How many hours the press's rules count for one that its runs say: a press that counts by its meter
        counts unlogged hours too. 1 where nothing tells."""
        if not self.record.presses[press_id].by_meter:
            return 1.0
        stretches = self.record.hours[press_id].stretches
        logged = float(stretches.press_h[stretches.telling].sum())
        return 1.0 + float(stretches.unlogged_h.sum()) / logged if logged > 0 else 1.0

    def seed_path(self, press_id: int, share: float, crops: Sequence[int] | None) -> Path | None:
        """Kilograms through a position with this share, of these crops only (None: all)."""
        return self._path(press_id, np.full(len(self.record.crops), share), crops)

    def hours_path(self, press_id: int, crops: Sequence[int] | None) -> Path | None:
        """Hours of the press while it takes these crops (None: all)."""
        per_kg = self.hours_per_kg(press_id)
        return None if per_kg is None else self._path(press_id, per_kg, crops)

    def _path(self, press_id: int, weight: Floats, crops: Sequence[int] | None) -> Path | None:
        season = self.season(press_id)
        if season is None:
            return None
        if crops:
            weight = np.where(np.isin(np.arange(weight.size), list(crops)), weight, 0.0)
        total = np.concatenate(([0.0], season.total @ weight))
        spread = np.concatenate(([0.0], np.sqrt(season.variance @ weight**2)))
        return Path(self.record.as_of, total, spread)

    def route(self, press_id: int, due: date | None) -> str:
        """In words along what the future of a press is taken up to a day; empty where nothing tells."""
        season = self.season(press_id)
        if season is None:
            return ""
        until = None if season.plan_until is None else date.fromordinal(season.plan_until)
        return why.route(
            season.basis,
            begins=self._plan_begins(press_id),
            as_of=self.record.as_of,
            beyond_plan=until is not None and due is not None and due > until,
        )

    def _plan_begins(self, press_id: int) -> date:
        """The first day ahead that the plan gives seed to, or the as-of day where it has begun."""
        starts = [
            row.start_on
            for row in self.record.plan
            if row.press_id == press_id and row.end_on > self.record.as_of
        ]
        return max(min(starts, default=self.record.as_of), self.record.as_of)
