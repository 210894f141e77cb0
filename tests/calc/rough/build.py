"""Makes a mill of a kind from a seed: seed by day, then wear and readings of each barrel, day by day.

Each kind of trouble has a stream of random numbers of its own, so that the same seed gives the same mill but
for the trouble, and kinds can be compared mill by mill.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import date

import numpy as np

from tests.calc.rough.barrel import Barrel
from tests.calc.rough.kinds import Kind
from tests.calc.rough.mill import FIRST_DAY, FIRST_YEAR, Edge, Happened, Mill, by_season_of_year, season_of
from wearlog.calc.season import PlanLine

PLANS_LESS = -0.02  # the usual logarithm of pressed over planned seed
DAYS_VARY = (0.4, 1.6)
DOUBLES = (0.25, 0.45)  # in parts of the record
MOVES = (0.2, 0.45)
RESTS = (60, 121)  # days
REST_CHANCE = 0.5  # in each year of the record
TROUBLES = ("harvests", "use", "people", "pace", "suppliers", "stones")


def mill(kind: Kind, seed: int) -> Mill:
    """A mill of a kind. The same seed gives the same mill."""
    return Builder(kind, seed).build()


class Builder:
    def __init__(self, kind: Kind, seed: int) -> None:
        self.kind = kind
        self.random = np.random.default_rng(seed)
        self.trouble = {name: np.random.default_rng([seed, n]) for n, name in enumerate(TROUBLES)}
        self.days = int(365.25 * kind.years)
        self.edges: list[Edge] = []
        self.made: dict[str, int] = defaultdict(int)
        # Seed per day of an edge that lives as long as the maker says, give or take.
        spread = kind.wear.crop_spread
        self.rates = {
            t.name: t.budget
            / t.life_kg
            * np.exp(self.random.normal(0.0, 0.2) + self.random.normal(0.0, spread, kind.crops))
            for t in kind.types
        }

    def build(self) -> Mill:
        count = max(self.kind.presses, 3)
        twins = np.arange(count) % 3 == 2
        throughput = self.random.uniform(320.0, 440.0, count) * np.where(twins, 2.0, 1.0)
        plans = [self._plan(t) for t in throughput[: self.kind.presses]]
        self.kept: list[list[float]] = [[] for _ in plans]
        self.seed = [self._pressed(plan, kept) for plan, kept in zip(plans, self.kept, strict=True)]
        happened = self._change_use(plans)
        self.moved = happened.moved
        self.harsh = self._harsh(happened)
        for press in range(len(plans)):
            for _ in range(2 if twins[press] else 1):
                Barrel(self, press, 0.5 if twins[press] else 1.0).run()
        for edge in self.edges:
            for life in edge.lives:
                life.made = np.maximum.accumulate(life.made)
        return Mill(
            kind=self.kind,
            edges=self.edges,
            seed=self.seed,
            plan=[[_as_pressed(line, FIRST_DAY + happened.doubled) for line in plan] for plan in plans]
            if self.kind.use.replanned
            else plans,
            days=self.days,
            happened=happened,
        )

    def _plan(self, throughput: float) -> list[PlanLine]:
        lines = []
        for year in range(FIRST_YEAR, FIRST_YEAR + self.kind.years + 3):
            for crop, start, end in self.kind.seasons:
                begin = date(year + (start[0] < 8), *start).toordinal()
                until = date(year + (end[0] < 8), *end).toordinal()
                kg = throughput * (until - begin + 1) * np.exp(self.random.normal(0.0, 0.12))
                if not (self.kind.use.new_crop and crop == 2 and year == FIRST_YEAR):
                    planned = date(year, 7, 1).toordinal() if self.kind.use.a_season_ahead else None
                    lines.append(
                        PlanLine(crop=crop, start=begin, end=until, seed_kg=float(kg), planned=planned)
                    )
        return lines

    def _pressed(self, plan: list[PlanLine], kept: list[float]) -> np.ndarray:
        out = np.zeros((self.days, self.kind.crops))
        for line in plan:
            daily = line.seed_kg / (line.end - line.start + 1)
            kept.append(float(np.exp(self.random.normal(PLANS_LESS, self.kind.use.plan_miss))))
            for day in range(line.start - FIRST_DAY, min(line.end + 1 - FIRST_DAY, self.days)):
                out[day, line.crop] += daily * kept[-1] * self.random.uniform(*DAYS_VARY)
        return out

    def _change_use(self, plans: list[list[PlanLine]]) -> Happened:
        """Change the seed of the presses as the kind says, and tell all that no log holds."""
        use, chance = self.kind.use, self.trouble["use"]
        side = 1.0 + chance.choice([-1.0, 1.0]) * use.plan_bias
        doubled = int(self.days * chance.uniform(*DOUBLES)) if use.doubles else self.days
        rests: list[list[tuple[int, int]]] = [[] for _ in plans]
        for pressed, mine in zip(self.seed, rests, strict=True):
            pressed *= side
            pressed[doubled:] *= 2.0
            for year in range(self.kind.years if use.rests else 0):
                begin, length = 365 * year + int(chance.integers(0, 365)), int(chance.integers(*RESTS))
                if chance.random() < REST_CHANCE:
                    pressed[begin : begin + length] = 0.0
                    mine.append((begin, begin + length))
        moved = int(self.days * chance.uniform(*MOVES)) if use.moved else self.days
        harvest, campaign, dirty = self._harvests()
        return Happened(
            plan=plans,
            kept=self.kept,
            side=float(side),
            doubled=doubled,
            moved=moved,
            rests=rests,
            harvest=harvest,
            campaign=campaign,
            dirty=dirty,
        )

    def _harvests(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        wear, presses, crops = self.kind.wear, self.kind.presses, self.kind.crops
        seasons, chance = season_of(self.days - 1) + 1, self.trouble["harvests"]
        harvest = chance.normal(0.0, wear.harvest_spread, (seasons, crops))
        campaign = chance.normal(0.0, wear.campaign_spread, (presses, seasons, crops))
        dirty = np.zeros((presses, self.days), dtype=bool)
        if wear.stony != 1.0:
            chance = self.trouble["stones"]
            press, season, crop = (int(chance.integers(*ends)) for ends in ((0, presses), (1, 4), (0, crops)))
            campaign[press, season, crop] += np.log(wear.stony)
            begun, over = (self._day_of(season, crop, which) for which in (1, 2))
            dirty[press, begun : over + 1] = True
        return harvest, campaign, dirty

    def _harsh(self, happened: Happened) -> np.ndarray:
        """By how much seed of each day wears more than usual, shape (presses, days, crops)."""
        season = np.array([season_of(day) for day in range(self.days)])
        logs = (happened.campaign + happened.harvest)[:, season]
        return np.asarray(np.exp(logs) * by_season_of_year(self.kind, np.arange(self.days))[:, None])

    def _day_of(self, season: int, crop: int, which: int) -> int:
        at = next(one for one in self.kind.seasons if one[0] == crop)[which]
        assert isinstance(at, tuple)
        return date(FIRST_YEAR + season + (at[0] < 8), *at).toordinal() - FIRST_DAY


def _as_pressed(line: PlanLine, doubled: int) -> PlanLine:
    """Twice the seed where that was planned after use had doubled."""
    late = line.planned is not None and line.planned > doubled
    return replace(line, seed_kg=2.0 * line.seed_kg) if late else line
