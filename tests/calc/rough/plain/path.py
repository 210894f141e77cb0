"""The seed that plain methods expect an edge to take, and the days on which it has taken enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.calc.rough.mill import FIRST_DAY, Edge, Mill

DAYS = 1000
Days = tuple[int, int, int]


@dataclass(frozen=True)
class Path:
    """day: the present one. kg: seed through an edge on each day after it, shape (DAYS, crops)."""

    day: int
    kg: np.ndarray

    @classmethod
    def of_press(cls, mill: Mill, press: int, day: int) -> Path:
        """The plan, each line spread evenly over its days; beyond it as in the year before (364 days)."""
        kg = np.zeros((DAYS, mill.kind.crops))
        first = FIRST_DAY + day + 1
        planned = 0
        for line in mill.known_plan(press, day):
            begin, end = max(line.start - first, 0), min(line.end + 1 - first, DAYS)
            if end > begin:
                kg[begin:end, line.crop] += line.seed_kg / (line.end - line.start + 1)
            planned = max(planned, min(end, DAYS))
        past = mill.past(press, day).kg
        for ahead in range(planned, DAYS):
            back = len(past) + ahead
            while back >= len(past):
                back -= 364
            kg[ahead] = past[back] if back >= 0 else 0.0
        return cls(day, kg)

    def through(self, edge: Edge) -> Path:
        crops = np.isin(np.arange(self.kg.shape[1]), edge.type.crops)
        return Path(self.day, self.kg * edge.share * crops)

    def days(self, left: Sequence[float], rates: np.ndarray) -> Days | None:
        """The days on which progress by these rates has come to what is left (early, middle, late), the last
        day where it never does; None where the middle never does."""
        made = np.cumsum(self.kg @ rates)
        early, mid, late = (int(found) for found in np.searchsorted(made, left))
        if mid >= DAYS:
            return None
        return self.day + 1 + early, self.day + 1 + mid, self.day + 1 + late
