"""The parts of one barrel, one after the other: pressed with, gauged, worn out, and followed by the next."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import Protocol

import numpy as np
from scipy import optimize

from tests.calc.rough.kinds import Kind, PartType
from tests.calc.rough.mill import Edge, Life, Reading, season_of


class Surroundings(Protocol):
    """What a barrel has from its mill.

    rates: progress per kilogram and crop of each type. seed, harsh: by press and day, shape (days, crops);
    harsh is by how much seed of a day wears more than usual. moved: the day on which screws change places.
    """

    kind: Kind
    days: int
    random: np.random.Generator
    trouble: dict[str, np.random.Generator]
    rates: dict[str, np.ndarray]
    seed: list[np.ndarray]
    harsh: np.ndarray
    moved: int
    edges: list[Edge]
    made: dict[str, int]


class Barrel:
    def __init__(self, mill: Surroundings, press: int, share: float) -> None:
        self.mill, self.kind, self.press, self.share = mill, mill.kind, press, share
        self.random, self.trouble = mill.random, mill.trouble
        self.current: dict[str, Edge] = {}
        self.waiting: dict[str, list[Edge]] = defaultdict(list)
        self.as_if: list[tuple[Edge, Life]] = []  # how edges that went off early would have gone on

    def run(self) -> None:
        crops = np.arange(self.kind.crops)
        used_for = {t.name: np.isin(crops, t.crops).astype(float) for t in self.kind.types}
        for day in range(self.mill.days):
            for t in self.kind.types:
                press = self._press_of(t, day)
                taken = self.mill.seed[press][day] * self.share * used_for[t.name]
                if t.name not in self.current:
                    self.current[t.name] = self._new_part(t, day)
                edge = self.current[t.name]
                if edge.presses[-1][1] != press:
                    edge.presses.append((day, press))
                if not taken.any():
                    continue
                felt = taken * self.mill.harsh[press, day]
                edge.kg[day] += taken
                self._wear_down(edge, day, felt, press)
                for other, life in [pair for pair in self.as_if if pair[0].type is t]:
                    self._grow(other, life, day, felt)
            if self.kind.use.off_early and day + 1 < self.mill.days and season_of(day + 1) > season_of(day):
                self._take_off_early(day + 1)

    def _press_of(self, t: PartType, day: int) -> int:
        """Screws of the first two presses change places on the day of the move."""
        swapped = t.name == "screw" and day >= self.mill.moved and self.press < 2 <= self.kind.presses
        return 1 - self.press if swapped else self.press

    def _wear_down(self, edge: Edge, day: int, felt: np.ndarray, press: int) -> None:
        life, t = edge.lives[-1], edge.type
        wear = self._grow(edge, life, day, felt)
        value = self._gauge(edge, day, wear, self.mill.seed[press])
        passed = value is not None and (value - t.limit) * (t.limit - t.new) >= 0
        if passed if self.kind.readings.removed_by_gauge else life.came is not None:
            if value is None:
                self._read(edge, day, wear)
            if t.name == "screw" and len(edge.works) < self.kind.wear.faced:
                self._hard_face(edge, day)
            else:
                edge.ended = day
                self.current[t.name] = self._next_edge(edge, day)

    def _grow(self, edge: Edge, life: Life, day: int, felt: np.ndarray) -> float:
        """Let a life wear for a day, and give the wear in mm at its end."""
        wear, budget = self.kind.wear, edge.type.budget
        step = float(felt @ life.rates)
        if wear.steps:
            step = self.random.gamma(life.own * step / budget / wear.steps) * wear.steps * budget / life.own
        if wear.pace_spread:
            kept = np.exp(-life.own * step / budget / wear.pace_life)
            drawn = self.trouble["pace"].normal(0.0, wear.pace_spread)
            life.pace = float(kept * life.pace + np.sqrt(1.0 - kept**2) * drawn)
            life.paces[day:] = life.pace
            step *= np.exp(life.pace - wear.pace_spread**2 / 2.0)
        life.progress += step
        life.made[day] = life.progress
        worn = life.own * budget * float(wear.shape(np.array(life.progress / budget)))
        if life.came is None and worn >= budget:
            life.came = day
        return worn

    def _hard_face(self, edge: Edge, day: int) -> None:
        edge.works.append(day)
        self._begin_life(edge, day + 1, edge.lives[-1].own * self.kind.wear.shorter)
        self._read(edge, day, 0.0, work=len(edge.works) - 1)

    def _take_off_early(self, day: int) -> None:
        for name, edge in self.current.items():
            life = edge.lives[-1]
            if life.progress > 0.5 * life.due and not edge.off:
                edge.off.append((day, None))
                self.waiting[name].append(edge)
                self.as_if.append((edge, life))
                self.current[name] = self._new_part(edge.type, day)

    # Readings

    def _gauge(self, edge: Edge, day: int, wear: float, seed: np.ndarray) -> float | None:
        due = self.random.random() < 1.0 / self.kind.readings.days
        last = day + 1 < self.mill.days and not np.array_equal(seed[day] > 0, seed[day + 1] > 0)
        if due or (last and self.kind.readings.at_crop_change):
            return self._read(edge, day, wear)
        return None

    def _read(self, edge: Edge, day: int, wear: float, work: int | None = None) -> float:
        how, people, t = self.kind.readings, self.trouble["people"], edge.type
        error = self.random.normal(0.0, how.sd)
        if self.random.random() < how.slips:
            error += self.random.choice([-1, 1]) * self.random.uniform(0.1, 0.5)
        error += how.drift * (day / 365.25 % 2.0)
        if how.hands:
            error += people.choice(how.hands)
        value = round(float(t.new + t.toward * wear + error), 3)
        if how.rounded:
            value = round(round(value / how.rounded) * how.rounded, 3)
        if how.typed and self.random.random() < how.typed:
            value = self._mistyped(value, t)
        written = day
        if how.days_off:
            off = int(people.integers(-how.days_off, how.days_off + 1))
            written = min(max(day + off, edge.started), self.mill.days - 1)
        if how.pins and len(t.edges) > 1:
            steps = int(np.floor((value - t.new) / 0.1 + 1e-9))
            if steps >= 1:
                edge.readings.append(Reading(day, written, round(t.new + 0.1 * steps, 3), "at_least"))
            edge.readings.append(Reading(day, written, round(t.new + 0.1 * (max(steps, 0) + 1), 3), "below"))
        else:
            edge.readings.append(Reading(day, written, value, work=work))
        return value

    def _mistyped(self, value: float, t: PartType) -> float:
        if self.kind.readings.wear_typed and self.trouble["people"].random() < 1 / 3:
            return round(abs(value - t.new), 3)
        if self.random.random() < 0.5:
            return round(value * float(self.random.choice([0.1, 10.0])), 3)
        if self.kind.readings.rounded:
            whole, tenths = f"{value:.1f}".split(".")
            return float(f"{whole[:-1]}{tenths}.{whole[-1]}")
        whole, decimals = f"{value:.2f}".split(".")
        return float(f"{whole}.{decimals[::-1]}")

    # Parts

    def _new_part(self, t: PartType, day: int) -> Edge:
        wear = self.kind.wear
        self.mill.made[t.name] += 1
        own = float(np.exp(self.random.normal(0.0, wear.part_spread)))
        if wear.suppliers:
            own *= float(self.trouble["suppliers"].choice(wear.suppliers))
        return self._edge(t, f"{t.name} {self.mill.made[t.name]}", t.edges[0], own, day)

    def _next_edge(self, edge: Edge, day: int) -> Edge:
        names = edge.type.edges
        later = names.index(edge.name) + 1
        if later < len(names):
            own = edge.lives[-1].own * float(np.exp(self.random.normal(0.0, self.kind.wear.edge_spread)))
            return self._edge(edge.type, edge.part, names[later], own, day + 1)
        if not self.waiting[edge.type.name]:
            return self._new_part(edge.type, day + 1)
        return self._put_back(self.waiting[edge.type.name].pop(0), day + 1)

    def _put_back(self, edge: Edge, day: int) -> Edge:
        """It goes on from the wear with which it went off."""
        begun = edge.off[-1][0]
        edge.off[-1] = (begun, day)
        life = edge.lives[-1]
        made = np.full(self.mill.days, life.made[:begun].max())
        edge.lives.append(replace(life, begun=day, came=None, made=made, progress=float(made[0])))
        return edge

    def _edge(self, t: PartType, part: str, name: str, own: float, day: int) -> Edge:
        kg = np.zeros((self.mill.days, self.kind.crops))
        edge = Edge(t, part, name, self.share, kg, day, [(day, self._press_of(t, day))])
        self._begin_life(edge, day, own)
        self.mill.edges.append(edge)
        return edge

    def _begin_life(self, edge: Edge, day: int, own: float) -> None:
        shape, budget = self.kind.wear.shape, edge.type.budget
        full = optimize.brentq(lambda u: own * float(shape(np.array(u))) - 1.0, 0.0, 20.0)
        pace = 0.0
        if self.kind.wear.pace_spread:
            pace = float(self.trouble["pace"].normal(0.0, self.kind.wear.pace_spread))
        rates = self.mill.rates[edge.type.name]
        made, paces = np.zeros(self.mill.days), np.full(self.mill.days, pace)
        edge.lives.append(Life(day, own, rates, full * budget, made, paces, pace=pace))
