"""Forecasts as the site gives them: models weighed and ranges corrected by what the mill's own record shows.

The past is replayed on every sixtieth day (the site replays every fifteenth) and on the days asked for, each
from the log of its day. An edge is judged by the day on which it came off as worn, which is what the log has.
"""

from __future__ import annotations

from math import ceil, floor

from tests.calc.rough.mill import Edge, Key, Mill, days_from_start
from tests.calc.rough.plain.path import Days
from wearlog.calc import conformal
from wearlog.calc.candidates import PRESENT
from wearlog.calc.choice import Ranges, Told, histories, judged_on, mixed
from wearlog.calc.conformal import DayRange

STEP_DAYS = 60


class Site:
    def __init__(self, mill: Mill) -> None:
        self.mill = mill
        self.said: dict[int, dict[Key, Ranges]] = {}
        self.alone: dict[Key, Days | None] = {}
        """What the wear model alone said on the day that was asked for last."""

    def forecast(self, day: int) -> dict[Key, Days | None]:
        """Early, middle and late day of the record for each edge in use; None where one is missing."""
        for past in range(STEP_DAYS, day, STEP_DAYS):
            self._replay(past)
        self._replay(day)
        told, kinds = self._told(day), self._kinds
        weights = judged_on(day, told).weights
        factors = conformal.learned(conformal.scores_on(day, histories(told))).factors
        out: dict[Key, Days | None] = {}
        for edge in self.mill.in_use(day):
            ranges = self.said[day].get(edge.key)
            if ranges is None:
                out[edge.key] = self.alone[edge.key] = None
                continue
            one = ranges[PRESENT]
            self.alone[edge.key] = round(one.early), round(one.mid), round(one.late)
            given = mixed(ranges, weights)
            better = conformal.corrected(given, factors.of(kinds[edge.type.name]))
            early = max(floor(better.early), min(floor(given.early), day + 1))
            late = max(ceil(better.late), min(ceil(given.late), day + 1))
            out[edge.key] = early, round(given.mid), late
        return out

    @property
    def _kinds(self) -> dict[str, int]:
        return {t.name: place for place, t in enumerate(self.mill.kind.types)}

    def _replay(self, day: int) -> None:
        if day in self.said:
            return
        self.said[day] = {}
        for key, by_name in self.mill.candidates(day).items():
            days = {name: days_from_start(reach) for name, reach in by_name.items()}
            if days[PRESENT] is not None:
                self.said[day][key] = {
                    name: DayRange(early=one[0], mid=one[1], late=one[2])
                    for name, one in days.items()
                    if one is not None
                }

    def _told(self, day: int) -> list[Told]:
        """What was said of each life of each edge until the end of `day`."""
        return [
            one
            for edge in self.mill.edges
            if edge.started <= day
            for one in self._of_edge(edge, day, self._kinds[edge.type.name])
        ]

    def _of_edge(self, edge: Edge, day: int, kind: int) -> list[Told]:
        ends = [at for at in (*edge.works, edge.ended) if at is not None and at <= day]
        found, begun = [], edge.started
        for end in [*ends, None]:
            last = day if end is None else end
            if end is None and (last < begun or edge.ended in ends):
                continue
            said = [
                (float(at), of_day[edge.key])
                for at, of_day in self.said.items()
                if begun <= at < (last + 1 if end is None else last) and edge.key in of_day
            ]
            found.append(Told(forecasts=tuple(said), kind=kind, came=end, known_on=end))
            begun = last + 1
        return found
