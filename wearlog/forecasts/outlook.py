"""The expected seed and hours of each press, by its plan or its past rate, as curves that give dates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cached_property, lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from wearlog.calc.season import HORIZON_DAYS, DailySeed, PlanLine, Season, coming_season
from wearlog.forecasts.harvests import season_of, season_start
from wearlog.forecasts.triggers import why
from wearlog.history.record import Record
from wearlog.history.rows import WORKED_OUT, Floats

TENTH = 1.2815515655446004
"""The distance of the 10 % and 90 % points of the standard normal distribution from its mean."""


@dataclass(frozen=True, eq=False)
class Path:
    """An amount that is expected to grow from the end of the as-of day on.

    `total[k]` is expected by the end of the k-th day after it (`total[0]` is 0), `spread[k]` is the standard
    deviation of that."""

    as_of: date
    total: Floats
    spread: Floats

    def day(self, amount: float, sure: float = 0.0) -> date | None:
        """The day on which the amount is reached, if the curve runs `sure` standard deviations above the
        expected one (below it, if negative); None beyond the end of the curve."""
        curve = np.maximum.accumulate(self.total + sure * self.spread)
        place = int(np.searchsorted(curve, amount * (1 - 1e-9), side="left"))
        return self.as_of + timedelta(days=max(place, 1)) if place < curve.size else None

    def by(self, day: date) -> float:
        """The amount expected by the end of the day."""
        return float(self.total[min(max((day - self.as_of).days, 0), self.total.size - 1)])


@lru_cache(maxsize=16)
def _midnights(zone: ZoneInfo, year: int, as_of: date) -> Floats:
    """0:00 of each day from the beginning of a year to the day after the as-of day, in seconds since 1970."""
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
    """Expected seasons and paths of every press, each computed once."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self._season: dict[int, Season | None] = {}
        self._hours_per_kg: dict[int, Floats | None] = {}
        self._paths: dict[tuple[int, float | None, tuple[int, ...]], Path | None] = {}

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
        """The seed that the press took each day up to the as-of day; None without a run."""
        runs = self.record.runs.get(press_id)
        if runs is None or runs.start.size == 0:
            return None
        skip = (self.record.day_of(float(runs.start[0])) - self.first_day).days
        edges = self.midnights[skip:]
        kg = self.record.timelines[press_id].kilograms(edges[:-1], edges[1:])
        return DailySeed(first=self.first_day.toordinal() + skip, kg=kg)

    def plan_lines(self, press_id: int) -> list[PlanLine]:
        return [
            PlanLine(
                crop=row.crop,
                start=row.start_on.toordinal(),
                end=row.end_on.toordinal(),
                seed_kg=row.seed_kg,
                planned=None if row.planned_on is None else row.planned_on.toordinal(),
            )
            for row in self.record.plan
            if row.press_id == press_id
        ]

    def season(self, press_id: int) -> Season | None:
        """The seed that the press is expected to take; None for a retired press or without plan and past
        runs."""
        if press_id not in self._season:
            self._season[press_id] = self._coming(press_id)
        return self._season[press_id]

    def _coming(self, press_id: int) -> Season | None:
        if self.record.presses[press_id].retired_on is not None or not self.record.crops:
            return None
        past = self.past(press_id)
        if past is None:
            past = DailySeed(first=self.record.as_of.toordinal(), kg=np.zeros((1, len(self.record.crops))))
        return coming_season(
            as_of=self.record.as_of.toordinal(), past=past, plan=self.plan_lines(press_id), turns=self.turns
        )

    @cached_property
    def turns(self) -> list[int]:
        """The days on which the seasons after today's begin, as far as any expectation goes."""
        year = season_of(self.record.as_of)
        return [season_start(year + ahead).toordinal() for ahead in range(1, HORIZON_DAYS // 365 + 2)]

    def hours_per_kg(self, press_id: int) -> Floats | None:
        """The press's own hours per kilogram of each crop, shape (crops,); for a crop that it never ran, the
        mean over its crops. None without a run that has hours and seed."""
        if press_id not in self._hours_per_kg:
            self._hours_per_kg[press_id] = self._mean_hours_per_kg(press_id)
        return self._hours_per_kg[press_id]

    def _mean_hours_per_kg(self, press_id: int) -> Floats | None:
        runs = self.record.runs.get(press_id)
        if runs is None or not runs.seed_kg.sum() > 0:
            return None
        crops = len(self.record.crops)
        hours = self.record.press_hours(press_id)
        # Seed that was worked out from the usual rate would only repeat that rate.
        independent = runs.seed_how != WORKED_OUT
        seed = np.bincount(runs.crop[independent], weights=runs.seed_kg[independent], minlength=crops)
        spent = np.bincount(runs.crop[independent], weights=hours[independent], minlength=crops)
        if not spent.sum() > 0:
            return None
        with np.errstate(divide="ignore", invalid="ignore"):
            each = np.where(seed > 0, spent / seed, spent.sum() / seed.sum())
        return np.asarray(each * self._counted_per_logged(press_id))

    def _counted_per_logged(self, press_id: int) -> float:
        """Hours counted by rules per hour logged in runs: more than 1 for a press that counts by its meter,
        since its unlogged hours count too. 1 where nothing is known."""
        if not self.record.presses[press_id].by_meter:
            return 1.0
        stretches = self.record.hours[press_id].stretches
        logged = float(stretches.press_h[stretches.usable].sum())
        return 1.0 + float(stretches.unlogged_h.sum()) / logged if logged > 0 else 1.0

    def seed_path(self, press_id: int, share: float, crops: Sequence[int] | None) -> Path | None:
        """Expected kilograms through a position with this share, of these crops only (None: all)."""
        return self._path(press_id, share, crops)

    def hours_path(self, press_id: int, crops: Sequence[int] | None) -> Path | None:
        """Expected hours of the press while it presses these crops (None: all)."""
        return self._path(press_id, None, crops)

    def _path(self, press_id: int, share: float | None, crops: Sequence[int] | None) -> Path | None:
        """The path of kilograms with a share, or (None) of hours; each is computed once."""
        key = press_id, share, tuple(crops or ())
        if key not in self._paths:
            per_kg = self.hours_per_kg(press_id) if share is None else np.full(len(self.record.crops), share)
            self._paths[key] = None if per_kg is None else self._path_of(press_id, per_kg, crops)
        return self._paths[key]

    def _path_of(self, press_id: int, weight: Floats, crops: Sequence[int] | None) -> Path | None:
        """weight: what a kilogram of each crop adds, shape (crops,)."""
        season = self.season(press_id)
        if season is None:
            return None
        if crops:
            weight = np.where(np.isin(np.arange(weight.size), list(crops)), weight, 0.0)
        total = np.concatenate(([0.0], season.total @ weight))
        spread = np.concatenate(([0.0], np.sqrt(season.variance @ weight**2)))
        return Path(self.record.as_of, total, spread)

    def route(self, press_id: int, due: date | None) -> str:
        """What the expected seed of a press up to a day is based on, in words; empty where nothing is
        expected."""
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
        """The first day ahead on which the plan has seed, or the as-of day if it has already begun."""
        starts = [
            row.start_on
            for row in self.record.plan
            if row.press_id == press_id and row.end_on > self.record.as_of
        ]
        return max(min(starts, default=self.record.as_of), self.record.as_of)
