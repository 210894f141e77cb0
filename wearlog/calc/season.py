"""From seed left to a date: how much seed a press is expected to take each day, and when a limit is reached.

Days are ordinals (`date.toordinal()`), seed is in kilograms, crops are columns. The expected seed follows the
season plan as far as the plan goes. Beyond it, it is what the press took in the same weeks of earlier years;
without earlier years, what it took per day recently. Idle days wear nothing. Without a plan and without past
seed nothing is expected. See docs/methods/season.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import special

from wearlog.calc.level import CHANGE_CHANCE, Level, Levels, Spells
from wearlog.calc.wear import EdgeFit, Quantiles, Scenarios
from wearlog.calc.wear.records import Floats

HORIZON_DAYS = 10 * 365
PLAN_SPREAD_GUESS = 0.12  # assumed sd of ln(pressed / planned) of plans, no source
PACE_SPREAD_GUESS = 0.25  # assumed sd of the same from one year to another, no source
YOUNG_SPREAD_GUESS = 0.5  # the same where there is no earlier year to go by, no source
DAY_SPREAD = 0.4  # assumed sd of one day's seed relative to the season's mean day, no source
RECENT_DAYS = 90
MISSES_HALVE_YEARS = 2.0
FEW_LINES = 2.0  # the habit of keeping plans is pulled to none by so many kept to the letter
SPELL_DAYS, MOST_SPELLS = 14, 26


@dataclass(frozen=True, kw_only=True)
class PlanLine:
    """Seed of a crop that the press is planned to take from `start` to `end`, both days included; `planned`
    is the day on which that was planned (None: not known)."""

    crop: int
    start: int
    end: int
    seed_kg: float
    planned: int | None = None

    @property
    def said(self) -> float:
        return -np.inf if self.planned is None else self.planned


@dataclass(frozen=True, kw_only=True)
class DailySeed:
    """Seed per day and crop, shape (days, crops), from the day `first` on without gaps."""

    first: int
    kg: Floats

    @property
    def last(self) -> int:
        return self.first + len(self.kg) - 1


@dataclass(frozen=True, kw_only=True)
class PlanMisses:
    """How well finished plans were kept: the median ratio of pressed to planned seed (pulled towards 1 while
    few plans have ended), the standard deviation of its logarithm, and the number of finished plans; and the
    chance that the pace has changed lately."""

    ratio: float
    spread: float
    lines: int
    change_chance: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Season:
    """The seed that a press is expected to take after the forecast day.

    kg: expected seed by day and crop, shape (days, crops), from the day `first` on. variance: that of the sum
    from `first` to each day, same shape. plan_until: the last day of the plan, None without one. basis: what
    the first day with seed is based on: "plan", "same_weeks" or "recent_pace". turns: the days on which
    seasons begin; seed from the first of them on is of harvests of which nothing is known yet.
    """

    first: int
    kg: Floats
    variance: Floats
    plan_until: int | None
    basis: str
    turns: tuple[int, ...] = ()

    @cached_property
    def of_today(self) -> Floats:
        """The part of `total` that is of the harvests of today."""
        count = len(self.kg) if not self.turns else min(max(self.turns[0] - self.first, 0), len(self.kg))
        return np.asarray(np.cumsum(np.where(np.arange(len(self.kg))[:, None] < count, self.kg, 0.0), axis=0))

    @cached_property
    def of_later(self) -> Floats:
        """The sum over later harvests of the square of the seed of each up to the end of each day."""
        out = np.zeros_like(self.kg)
        days = np.clip(np.array([*self.turns, self.first + len(self.kg)]) - self.first, 0, len(self.kg))
        for begin, end in pairwise(days.tolist()):
            grown = np.cumsum(self.kg[begin:end], axis=0) ** 2
            out[begin:end] += grown
            out[end:] += grown[-1:].sum(axis=0)
        return out

    @property
    def total(self) -> Floats:
        """Cumulative seed from the first day to the end of each day, shape (days, crops)."""
        return np.asarray(np.cumsum(self.kg, axis=0))

    def after(self, day: int) -> Season:
        """The same season for what is fitted on a day: no seed goes through it before."""
        skip = min(max(day - self.first, 0), len(self.kg))
        if skip == 0:
            return self
        kg, variance = self.kg.copy(), self.variance - self.variance[skip - 1]
        kg[:skip], variance[:skip] = 0.0, 0.0
        return replace(self, kg=kg, variance=np.maximum(variance, 0.0))


@dataclass(frozen=True, kw_only=True)
class Reach:
    """When an edge reaches its limit: the 10, 50 and 90 % days, each None beyond the horizon or without a
    season.

    left_kg: seed through the edge until then, None where it has no upper bound. Days may lie in the past.
    """

    early: date | None
    mid: date | None
    late: date | None
    left_kg: Quantiles | None


def plan_misses(*, as_of: int, past: DailySeed, plan: Sequence[PlanLine]) -> PlanMisses:
    """Compare plans that ended by `as_of` and began after the press's first seed with the seed pressed; a
    change of pace within the last year counts as none of their misses."""
    ended = [line for line in plan if line.end <= as_of and line.start >= past.first and line.seed_kg > 0]
    logs = np.array([_kept(past, line, line.start, line.end) for line in ended])
    level = Levels(_spells(as_of, past, plan), own_spread=PLAN_SPREAD_GUESS, day_spread=DAY_SPREAD).of()
    if level.changed is not None:
        after = np.array([line.start > level.changed and line.said <= level.changed for line in ended])
        logs = logs - level.change * after if len(logs) else logs
    strength = 4.0
    # A miss of years ago tells less of the next one.
    age = np.array([as_of - line.end for line in ended]) / 365.25
    weight = 0.5 ** (age / MISSES_HALVE_YEARS)
    known = float(weight.sum())
    middle = _median(logs, weight) * known / (known + FEW_LINES)
    around = (weight * (np.clip(logs, -1.0, 1.0) - middle) ** 2).sum() + strength * PLAN_SPREAD_GUESS**2
    return PlanMisses(
        ratio=float(np.exp(middle)),
        spread=float(np.sqrt(around / (known + strength))),
        lines=len(logs),
        change_chance=CHANGE_CHANCE,
    )


def _median(values: Floats, weight: Floats) -> float:
    if not len(values):
        return 0.0
    order = np.argsort(values, kind="stable")
    grown = np.cumsum(weight[order])
    return float(values[order[np.searchsorted(grown, 0.5 * grown[-1])]])


def _kept(past: DailySeed, line: PlanLine, start: int, end: int) -> float:
    """The logarithm of pressed to planned seed of a plan from `start` to `end`, both included, bounded."""
    pressed = past.kg[max(start - past.first, 0) : max(end - past.first + 1, 0), line.crop].sum()
    planned = line.seed_kg * (end - start + 1) / (line.end - line.start + 1)
    return float(np.log(np.clip(pressed / planned, 0.25, 4.0)))


def _spells(as_of: int, past: DailySeed, plan: Sequence[PlanLine]) -> Spells:
    """The last spells of about two weeks each in which a plan was under way. They belong to the plans by
    their place in `plan`."""
    found = []
    for place, line in enumerate(plan):
        start, end = max(line.start, past.first), min(line.end, as_of)
        if end < start or end < as_of - 2 * 365 or line.seed_kg <= 0:
            continue
        count = max((end - start + 1) // SPELL_DAYS, 1)
        bounds = np.linspace(start, end + 1, count + 1).round().astype(int)
        for begin, after in pairwise(bounds.tolist()):
            found.append((after - 1, after - begin, _kept(past, line, begin, after - 1), place, line.said))
    found = sorted(found, key=lambda one: one[0])[-MOST_SPELLS:]
    columns = np.array(found, dtype=float).reshape(-1, 5)
    return Spells(
        end=columns[:, 0],
        days=columns[:, 1],
        kept=columns[:, 2],
        of=columns[:, 3].astype(np.int64),
        said=columns[:, 4],
    )


def coming_season(
    *,
    as_of: int,
    past: DailySeed,
    plan: Sequence[PlanLine],
    misses: PlanMisses | None = None,
    turns: Sequence[int] = (),
    horizon_days: int = HORIZON_DAYS,
) -> Season | None:
    """The expected seed from the day after `as_of`. `past` is all the seed the press took up to `as_of`.

    A plan's seed is spread evenly over its days. For a plan that has begun only the remaining days count, at
    a rate between the planned one and that of the plan so far; the longer the plan has run, the more the
    latter counts. A pace that has changed since the plans were made counts for all of them (see `level`), and
    for what earlier years let expect. None where no plan lies ahead and the press never took seed."""
    crops = past.kg.shape[1]
    misses = misses or plan_misses(as_of=as_of, past=past, plan=plan)
    first = as_of + 1
    kg = np.zeros((horizon_days, crops))
    variance = np.zeros((horizon_days, crops))
    ahead = [line for line in plan if line.end >= first and line.seed_kg > 0]
    plan_until = max((line.end for line in ahead), default=None)
    levels = Levels(
        _spells(as_of, past, plan),
        usual=float(np.log(misses.ratio)),
        own_spread=misses.spread,
        day_spread=DAY_SPREAD,
        change_chance=misses.change_chance,
    )
    for line in sorted(ahead, key=lambda line: (line.start, line.end, line.crop, line.seed_kg)):
        start = max(line.start, first)
        begun = past.last >= line.start
        level = levels.of(line.said, under_way=plan.index(line) if begun else None)
        # The differences from day to day are part of the error of whole plans, and are added by `_add`.
        spread = np.sqrt(max(level.spread**2 - DAY_SPREAD**2 / (line.end - line.start + 1), 0.0))
        spread = max(spread, 0.5 * min(level.spread, misses.spread))
        daily = np.exp(level.middle) * line.seed_kg / (line.end - line.start + 1)
        _add(kg, variance, line.crop, start - first, np.full(line.end - start + 1, daily), spread)
    begin = 0 if plan_until is None else plan_until + 1 - first
    basis = "plan"
    if begin < horizon_days and past.kg.any():
        now = levels.of()
        pace, from_years = _pace(_at_level(past, now), np.arange(first + begin, first + horizon_days))
        spread = PACE_SPREAD_GUESS if from_years else YOUNG_SPREAD_GUESS
        for year in range(0, len(pace), 365):
            for crop in range(crops):
                block = pace[year : year + 365, crop]
                _add(kg, variance, crop, begin + year, block, spread)
        if plan_until is None:
            basis = "same_weeks" if from_years else "recent_pace"
    if not kg.any():
        return None
    return Season(
        first=first, kg=kg, variance=variance, plan_until=plan_until, basis=basis, turns=tuple(turns)
    )


def _at_level(past: DailySeed, now: Level) -> DailySeed:
    """The past as it would have been at the pace of today."""
    if now.changed is None:
        return past
    before = np.arange(past.first, past.last + 1) <= now.changed
    return replace(past, kg=np.where(before[:, None], past.kg * np.exp(now.change), past.kg))


def _add(kg: Floats, variance: Floats, crop: int, begin: int, block: Floats, spread: float) -> None:
    """Add expected seed per day (`block`, from index `begin` on) and its variance: one error common to the
    whole block (`spread`) and an independent one for each day."""
    room = len(kg) - begin
    if room <= 0:
        return
    block = block[:room]
    kg[begin : begin + len(block), crop] += block
    missed = (spread * np.cumsum(block)) ** 2 + DAY_SPREAD**2 * np.cumsum(block**2)
    variance[begin : begin + len(block), crop] += missed
    variance[begin + len(block) :, crop] += missed[-1]


def _pace(past: DailySeed, days: NDArray[np.int64]) -> tuple[Floats, bool]:
    """Seed per day, shape (days, crops): the mean of the same weeks of up to three earlier years, else the
    recent mean; and whether the first 30 days come from earlier years."""
    used = np.flatnonzero(past.kg.any(axis=1))
    begin = int(used[0])
    total = np.concatenate([np.zeros((1, past.kg.shape[1])), np.cumsum(past.kg, axis=0)])
    count = len(past.kg)
    recent = max(begin, count - RECENT_DAYS)
    if used[-1] < recent:
        recent = max(begin, count - 365)
    out = np.tile((total[count] - total[recent]) / max(count - recent, 1), (len(days), 1))
    seen = np.zeros(len(days), dtype=int)
    summed = np.zeros_like(out)
    for years in range(1, 8 + count // 365):
        same = days - np.int64(round(365.25 * years)) - past.first
        lacking = seen < 3
        if not lacking.any():
            break
        known = (same >= begin + 3) & (same < count - 3) & lacking
        if known.any():
            week = (total[same[known] + 4] - total[same[known] - 3]) / 7.0
            summed[known] += week
            seen[known] += 1
    out[seen > 0] = summed[seen > 0] / seen[seen > 0, None]
    return out, bool(seen[:30].any())


def reach(
    *,
    edge: EdgeFit,
    season: Season | None,
    share: float = 1.0,
    for_crops: Sequence[int] | None = None,
    past: DailySeed | None = None,
) -> Reach:
    """The dates on which the edge reaches its limit if the season goes as expected.

    share: the fraction of the press's seed that goes through the position. for_crops: the columns of the
        crops that the part is used for; None: all.
    past: seed that this edge itself took per day (share applied), whose last day is the day before the
        season. It gives the day of a limit that has already been passed; without it that day is the forecast
        day.
    """
    if edge.scenarios is None:
        return Reach(early=None, mid=None, late=None, left_kg=None)
    cases = edge.scenarios
    crops = cases.rates.shape[1]
    if season is None:
        own = past.kg.sum(axis=0) if past is not None else np.ones(crops)
        return Reach(early=None, mid=None, late=None, left_kg=edge.seed_left(own))
    counted = np.full(crops, share)
    if for_crops is not None and len(for_crops):
        counted = np.where(np.isin(np.arange(crops), list(for_crops)), share, 0.0)
    total = np.concatenate([np.zeros((1, crops)), season.total * counted])
    spread = season.variance + cases.harvest_spread**2 * season.of_later
    variance = np.concatenate([np.zeros((1, crops)), spread * counted**2])
    of_today = None
    if cases.harvests is not None:
        of_today = np.concatenate([np.zeros((1, crops)), season.of_today * counted])
    index = _first_day(cases, total, variance, of_today)
    beyond = index >= len(total)
    day = season.first - 1.0 + index
    passed = cases.needed <= 0
    if past is not None and passed.any():
        back = np.cumsum(past.kg[::-1], axis=0)
        lines = back @ cases.rates.T
        ago = np.array(
            [np.searchsorted(lines[:, g], -cases.needed[g], side="right") for g in range(len(cases.rates))]
        )
        day = np.where(passed, season.first - 1.0 - np.minimum(ago, len(back)), day)
    day = np.where(beyond, np.inf, day)
    kilograms = total.sum(axis=1)[np.minimum(index, len(total) - 1)]
    left = np.where(beyond, np.inf, np.where(passed, 0.0, kilograms))
    found, seed = Quantiles.of(np.asarray(day), cases.weights), Quantiles.of(np.asarray(left), cases.weights)
    return Reach(
        early=_date(found.low),
        mid=_date(found.mid),
        late=_date(found.high),
        left_kg=seed if np.isfinite(seed.high) else edge.seed_left(total[-1]),
    )


def _date(day: float) -> date | None:
    return date.fromordinal(int(day)) if np.isfinite(day) else None


def _plan_cases(rows: int, columns: int) -> Floats:
    """Standard normal points for the error of the plan, arranged so that they are independent of the cases of
    the edge (rows and columns)."""
    order = (
        np.arange(rows)[:, None] * 0.6180339887498949 + np.arange(columns) * 0.7548776662466927 + 0.5
    ) % 1.0
    rank = order.ravel().argsort().argsort()
    points = special.ndtri((rank + 0.5) / rank.size)
    return np.asarray(points.reshape(rows, columns))


def _first_day(
    cases: Scenarios, total: Floats, variance: Floats, of_today: Floats | None
) -> NDArray[np.int64]:
    """Index into `total` of the first day at whose end each case has made the progress it needs; len(total)
    where it never does. Bisection of all cases at once."""
    needed, rates = cases.needed, cases.rates
    z = _plan_cases(*needed.shape)
    low = np.zeros(needed.shape, dtype=np.int64)
    high = np.full(needed.shape, len(total), dtype=np.int64)
    for _ in range(len(total).bit_length() + 1):
        open_ = low < high
        middle = (low + high) // 2
        at = np.minimum(middle, len(total) - 1)
        made = np.einsum("gtc,gc->gt", total[at], rates)
        if of_today is not None and cases.harvests is not None:
            made += np.einsum("gtc,gtc,gc->gt", of_today[at], cases.harvests - 1.0, rates)
        made += z * np.sqrt(np.einsum("gtc,gc->gt", variance[at], rates**2))
        enough = made >= needed
        high = np.where(open_ & enough, middle, high)
        low = np.where(open_ & ~enough, middle + 1, low)
    return low
