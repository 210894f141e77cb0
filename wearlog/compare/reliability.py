"""How long the parts of each type have lasted: ages of retired parts and of parts in service (`calc.life`).

A life begins with a part's first fitting, or with its last rebuild, and is classed as

- failed: retired as broken, or as worn where nothing is gauged against a limit;
- at its limit: retired as worn, gauged, and of a type with a limit. A rule took it off at a measured size,
  which is no failure: censored;
- off season: retired as worn, but taken off while its press stood still for two weeks. A part that is taken
  off at a convenient time could have lasted longer: censored;
- cut short: retired as lost, remade or otherwise, or ended by a rebuild: censored;
- in service: fitted or on the shelf, after having worked: censored.

Parts that never worked are counted and left out. Ages are those of the record: they include nothing later
than its day, and no work before its first run.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

import numpy as np

from wearlog.calc import life as lives
from wearlog.compare.ages import ages_of
from wearlog.equipment.kinds import GROUND_BY_SEED
from wearlog.history.record import NOTHING_EARLIER, Record
from wearlog.history.rows import FittingRow, PartRow, TypeRow
from wearlog.service.work import RENEWS

OFF_SEASON_S = 14 * 86400.0
"""A part came off out of season if its press stood still this long before or after (our assumption)."""


class Ended(StrEnum):
    FAILED = "failed"
    AT_LIMIT = "at limit"
    OFF_SEASON = "off season"
    CUT_SHORT = "cut short"
    REBUILT = "rebuilt"
    IN_SERVICE = "in service"


class Statement(StrEnum):
    """Which statements the number of failures of a type allows."""

    NOTHING = "nothing"
    """None: no part of the type has worked."""
    FIXED_SHAPE = "fixed shape"
    """Fewer than three failures, or all at one age: limits under assumed shapes."""
    FIT = "fit"
    """Three or four failures: a fitted curve with its limits, and no mean life."""
    MEAN = "mean"
    """Five failures or more."""


class AgeUnit(StrEnum):
    HOURS = "hours"
    SEED = "seed"


@dataclass(frozen=True)
class PartLife:
    """One life of a part, up to its end or that of the record."""

    part: PartRow
    hours_h: float
    seed_kg: float
    ended: Ended
    press_id: int
    """Where it works, or last did."""
    cycle: int
    """0 as new; 1 after its first rebuild, and so on."""

    def age(self, by: AgeUnit) -> float:
        return self.hours_h if by is AgeUnit.HOURS else self.seed_kg


@dataclass(frozen=True)
class RemainingLife:
    """The remaining life of a part in service: the points by which 10, 50 and 90 of 100 such parts have
    failed."""

    lived: PartLife
    early: float
    middle: float
    late: float


@dataclass(frozen=True)
class TypeLives:
    """The lives of one part type. `by` is the unit of its ages."""

    type: TypeRow
    by: AgeUnit
    lived: tuple[PartLife, ...]
    unused: int

    def count(self, *ends: Ended) -> int:
        return sum(one.ended in ends for one in self.lived)

    @property
    def failures(self) -> int:
        return self.count(Ended.FAILED)

    @cached_property
    def _columns(self) -> tuple[list[float], list[bool]]:
        known = [one for one in self.lived if one.age(self.by) > 0]
        return [one.age(self.by) for one in known], [one.ended is Ended.FAILED for one in known]

    @cached_property
    def life(self) -> lives.Life:
        return lives.fit_life(*self._columns)

    @cached_property
    def least_shape(self) -> float | None:
        """The shape that these lives surely exceed (2.5 % wrong): above 1 where they wear out."""
        return lives.least_shape(*self._columns)

    @cached_property
    def steps(self) -> list[lives.Survival]:
        """The surviving fraction, step by step (Kaplan and Meier)."""
        return lives.kaplan_meier(*self._columns)

    @property
    def statement(self) -> Statement:
        if self.life.basis == "none":
            return Statement.NOTHING
        if self.life.basis == "fixed_shape":
            return Statement.FIXED_SHAPE
        return Statement.MEAN if self.life.failures >= lives.FEW_TO_AVERAGE else Statement.FIT

    @property
    def mean(self) -> float | None:
        """Mean life; None below five failures."""
        return self.life.mean if self.statement is Statement.MEAN else None

    @property
    def working(self) -> list[PartLife]:
        return sorted(
            (one for one in self.lived if one.ended is Ended.IN_SERVICE),
            key=lambda one: -one.age(self.by),
        )

    @cached_property
    def left(self) -> tuple[RemainingLife, ...]:
        """The remaining life of each part in service by the fitted curve, given its age; oldest first. Empty
        without a fitted curve from three failures or more."""
        fit, working = self.life, self.working
        if fit.basis != "mle" or fit.shape is None or fit.scale is None or not working:
            return ()
        reached = np.array([[one.age(self.by)] for one in working])
        points = lives.remaining(fit.shape, fit.scale, reached, np.array([[0.1, 0.5, 0.9]]))
        return tuple(
            RemainingLife(one, *(float(value) for value in row))
            for one, row in zip(working, points, strict=True)
        )


def measure_of(type_: TypeRow) -> AgeUnit:
    """The unit of a type's ages: that of its expected life; without one, seed for parts that seed wears, else
    hours."""
    if type_.expected_life_h is not None and type_.expected_life_kg is None:
        return AgeUnit.HOURS
    if type_.expected_life_kg is not None or type_.kind in GROUND_BY_SEED:
        return AgeUnit.SEED
    return AgeUnit.HOURS


def type_lives(record: Record) -> list[TypeLives]:
    """The lives of every part type with a recorded part, by kind and code; all ages are computed together."""
    parts = sorted(record.parts.values(), key=lambda part: part.code)
    gauged = {row.part_id for row in record.measurements}
    rebuilt: dict[int, list[float]] = {}
    for service in record.services:
        if service.action in RENEWS and service.part_id is not None:
            rebuilt.setdefault(service.part_id, []).append(service.done)
    wanted, cycles = [], []
    for part in parts:
        if part.id in record.fittings_of:
            ends = [*rebuilt.get(part.id, []), record.end]
            wanted += [(part.id, instant) for instant in ends]
            cycles.append((part, len(ends)))
    ages = ages_of(record, wanted)
    found: dict[int, list[PartLife]] = {}
    place = 0
    for part, count in cycles:
        hours = np.diff(ages.hours_h[place : place + count], prepend=0.0)
        seed = np.diff(ages.seed_kg[place : place + count], prepend=0.0)
        place += count
        earlier = record.earlier.get(part.id, NOTHING_EARLIER)
        last = record.fittings_of[part.id][-1]
        press_id = record.positions[last.position_id].press_id
        for cycle in range(count):
            if hours[cycle] <= 0 and seed[cycle] <= 0:
                continue
            ended = Ended.REBUILT if cycle < count - 1 else how_ended(record, part, last, part.id in gauged)
            before = NOTHING_EARLIER if cycle else earlier
            worked_h, seed_kg = hours[cycle] + before.worked_h, seed[cycle] + before.seed_kg
            one = PartLife(part, float(worked_h), float(seed_kg), ended, press_id, cycle)
            found.setdefault(part.type_id, []).append(one)
    made = []
    for type_ in sorted(record.types.values(), key=lambda row: (row.kind, row.code)):
        lived = tuple(found.get(type_.id, ()))
        worked = {one.part.id for one in lived}
        unused = sum(part.type_id == type_.id and part.id not in worked for part in parts)
        if lived or unused:
            made.append(TypeLives(type_, measure_of(type_), lived, unused))
    return made


def how_ended(record: Record, part: PartRow, last: FittingRow, gauged: bool) -> Ended:
    if part.retired_on is None:
        return Ended.IN_SERVICE
    if part.retired_because == "broken":
        return Ended.FAILED
    if part.retired_because != "worn":
        return Ended.CUT_SHORT
    if gauged and record.types[part.type_id].limit_mm is not None:
        return Ended.AT_LIMIT
    return Ended.OFF_SEASON if _off_season(record, last) else Ended.FAILED


def _off_season(record: Record, last: FittingRow) -> bool:
    """Whether the press stood still for two weeks before the part came off, or for two weeks after. False
    where the record ends too soon to know."""
    if last.removed is None:
        return False
    runs = record.runs.get(record.positions[last.position_id].press_id)
    if runs is None:
        return False
    before = runs.end[runs.start < last.removed]
    if before.size and last.removed - float(before.max()) > OFF_SEASON_S:
        return True
    quiet_until = last.removed + OFF_SEASON_S
    return record.end >= quiet_until and not np.any((runs.end > last.removed) & (runs.start < quiet_until))
