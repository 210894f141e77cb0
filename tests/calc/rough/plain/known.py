"""The kind's own process with known parameters: nobody who must look ahead can do much better.

It knows all that has happened up to a day, also what no log holds (true wear, the pace of each edge, what
the harvests under way do, how plans under way are kept), and how the kind of mill goes on, but not what
chance will bring. Chance is drawn two hundred times; the 10, 50 and 90 % points of the days are the range.
Stones that have not come yet are left out.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from tests.calc.rough.build import DAYS_VARY, DOUBLES, MOVES, PLANS_LESS, REST_CHANCE, RESTS
from tests.calc.rough.mill import FIRST_DAY, Edge, Mill, by_season_of_year, season_of
from tests.calc.rough.plain.path import Days
from wearlog.calc.season import PlanLine

DRAWS = 200
AHEAD = 800


class Known:
    """What a mill may do in the 800 days after a day, by draw."""

    def __init__(self, mill: Mill, day: int) -> None:
        self.mill, self.day, self.kind, self.happened = mill, day, mill.kind, mill.happened
        self.chance = np.random.default_rng(day)
        self.days = np.arange(AHEAD) + day + 1
        self.season = np.array([season_of(at) for at in self.days.tolist()])
        self._felt: dict[int, np.ndarray] = {}

    def felt(self, press: int) -> np.ndarray:
        """Seed of a press counted by how much it wears, shape (DRAWS, AHEAD, crops)."""
        if press not in self._felt:
            harsh = np.exp(self._harvests + self._campaigns(press))[:, self.season - self.season[0]]
            wet = by_season_of_year(self.kind, self.days)[:, None]
            self._felt[press] = self._pressed(press) * harsh * wet
        return self._felt[press]

    def range(self, edge: Edge) -> Days:
        life = edge.lives[edge.life(self.day)]
        press = edge.press(self.day)
        rates = np.where(np.isin(np.arange(self.kind.crops), edge.type.crops), life.rates, 0.0) * edge.share
        step = self.felt(press) @ rates
        if self.kind.use.moved and edge.type.name == "screw" and press < 2 <= self.kind.presses:
            step = np.where(self.days >= self._moved[:, None], self.felt(1 - press) @ rates, step)
        budget, wear = edge.type.budget, self.kind.wear
        if wear.steps:
            each = wear.steps * budget / life.own
            step[step > 0] = self.chance.gamma(step[step > 0] / each) * each
        if wear.pace_spread:
            step = step * self._paces(life.own * step / budget, life.paces[self.day])
        grown = np.cumsum(step, axis=1) + float(life.made[self.day])
        came = self.day + 1 + (grown < life.due).sum(axis=1)
        early, mid, late = np.quantile(came, [0.1, 0.5, 0.9]).round().astype(int).tolist()
        return early, mid, late

    def _paces(self, used: np.ndarray, pace: float) -> np.ndarray:
        """By what each step is faster than usual; `used`: the part of a life that it takes, shape (DRAWS,
        AHEAD)."""
        spread, kept = self.kind.wear.pace_spread, np.exp(-used / self.kind.wear.pace_life)
        drawn = self.chance.normal(0.0, spread, used.shape) * np.sqrt(1.0 - kept**2)
        logs, out = np.full(DRAWS, pace), np.ones(used.shape)
        for at in np.flatnonzero(used.any(axis=0)):
            logs = kept[:, at] * logs + drawn[:, at]
            out[:, at] = np.exp(logs - spread**2 / 2.0)
        return out

    def _pressed(self, press: int) -> np.ndarray:
        out = np.zeros((DRAWS, AHEAD, self.kind.crops))
        for line, kept in zip(self.happened.plan[press], self.happened.kept[press], strict=True):
            begin, end = line.start - FIRST_DAY - self.day - 1, line.end - FIRST_DAY - self.day
            if end > 0 and begin < AHEAD:
                out[:, max(begin, 0) : end, line.crop] += self._daily(line, kept, begun=begin < 0)
        out *= self.happened.side * self.chance.uniform(*DAYS_VARY, (DRAWS, AHEAD, 1))
        out *= np.where(self.days >= self._doubled[:, None], 2.0, 1.0)[:, :, None]
        return np.where(self._resting(press)[:, :, None], 0.0, out)

    def _daily(self, line: PlanLine, kept: float, *, begun: bool) -> np.ndarray:
        """Seed of each day of a plan, shape (DRAWS, 1)."""
        drawn = np.exp(self.chance.normal(PLANS_LESS, self.kind.use.plan_miss, (DRAWS, 1)))
        return np.asarray((kept if begun else drawn) * line.seed_kg / (line.end - line.start + 1))

    @cached_property
    def _doubled(self) -> np.ndarray:
        return self._day_of_change(self.happened.doubled, DOUBLES)

    @cached_property
    def _moved(self) -> np.ndarray:
        return self._day_of_change(self.happened.moved, MOVES)

    def _day_of_change(self, truly: int, within: tuple[float, float]) -> np.ndarray:
        """The day of a change that comes once in a record at most; one that has come already is known."""
        first, last = (self.mill.days * part for part in within)
        if truly >= self.mill.days or truly <= self.day:
            return np.full(DRAWS, truly if truly >= self.mill.days else 0)
        return self.chance.uniform(max(first, self.day + 1), last, DRAWS)

    def _resting(self, press: int) -> np.ndarray:
        """Whether the press rests on each day, shape (DRAWS, AHEAD)."""
        out = np.zeros((DRAWS, AHEAD), dtype=bool)
        if not self.kind.use.rests:
            return out
        begun = [rest for rest in self.happened.rests[press] if rest[0] <= self.day]
        for first, last in begun:
            out |= (self.days >= first) & (self.days < last)
        for year in range(self.day // 365, self.kind.years):
            from_, until = max(365 * year, self.day + 1), 365 * (year + 1)
            left = REST_CHANCE * (until - from_) / 365
            if any(365 * year <= first for first, _ in begun):
                continue
            rests = self.chance.random(DRAWS) < left / (1.0 - REST_CHANCE + left)
            begin = self.chance.uniform(from_, until, DRAWS)
            end = begin + self.chance.integers(*RESTS, DRAWS)
            at = self.days[None]
            out |= rests[:, None] & (at >= begin[:, None]) & (at < end[:, None])
        return out

    @cached_property
    def _begun(self) -> np.ndarray:
        """Which harvests of the seasons ahead each press has begun, shape (presses, seasons, crops)."""
        seasons = int(self.season[-1] - self.season[0]) + 1
        out = np.zeros((len(self.mill.seed), seasons, self.kind.crops), dtype=bool)
        if self.season[0] == season_of(self.day):
            past = np.array([season_of(at) for at in range(self.day + 1)]) == self.season[0]
            for press, seed in enumerate(self.mill.seed):
                out[press, 0] = seed[: self.day + 1][past].any(axis=0)
        return out

    @cached_property
    def _harvests(self) -> np.ndarray:
        """Logarithms, shape (DRAWS, seasons, crops)."""
        return self._drawn(self.happened.harvest, self._begun.max(axis=0), self.kind.wear.harvest_spread)

    def _campaigns(self, press: int) -> np.ndarray:
        own = self.happened.campaign[press]
        return self._drawn(own, self._begun[press], self.kind.wear.campaign_spread)

    def _drawn(self, truly: np.ndarray, begun: np.ndarray, spread: float) -> np.ndarray:
        drawn = self.chance.normal(0.0, spread, (DRAWS, *begun.shape))
        known = np.zeros(begun.shape)
        last = truly[self.season[0] :][: len(begun)]
        known[: len(last)] = last
        return np.where(begun, known, drawn)
