"""How old the screw, the die and the barrel of a press were at each of its runs.

A life begins with a new edge or part, or with a rebuild; its age is the seed that it has taken since, on
whatever presses.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wearlog.calc.exposure import exposures
from wearlog.equipment.kinds import LEAVES_OIL
from wearlog.history.record import Record
from wearlog.history.rows import FittingRow, Floats, Ints
from wearlog.service.work import RENEWS


@dataclass(frozen=True, eq=False)
class SeatStay:
    """A stretch of one life on one seat. `before_kg` (crops,) is what the life had taken when it began."""

    life: int
    part_id: int
    edge: str
    position_id: int
    start: float
    end: float
    before_kg: Floats


@dataclass(frozen=True, eq=False)
class Seat:
    """What sat on one seat at each of the runs, (n,): the number of the life (-1: none), and its age in
    tonnes (NaN: none)."""

    kind: str
    life: Ints
    age_t: Floats


@dataclass(frozen=True)
class Lives:
    """The stays of all wearing parts, by seat and in order of time, and the number of the life that each part
    in place is in."""

    of_seat: dict[int, list[SeatStay]]
    of_part: dict[int, SeatStay]

    @classmethod
    def of(cls, record: Record) -> Lives:
        renewed: dict[int, list[float]] = defaultdict(list)
        for service in record.services:
            if service.action in RENEWS and service.part_id is not None:
                renewed[service.part_id].append(service.done)
        wearing = {pk for pk, part in record.parts.items() if record.types[part.type_id].kind in LEAVES_OIL}
        cut = [
            (row, piece, start, end)
            for part_id in sorted(wearing & record.fittings_of.keys())
            for row in record.fittings_of[part_id]
            for piece, start, end in _pieces(row, sorted(renewed[part_id]), record.end)
        ]
        taken = _taken(record, [(row.position_id, start, end) for row, _, start, end in cut])
        numbers: dict[tuple[int, str, int], int] = {}
        so_far: dict[int, Floats] = {}
        of_seat: dict[int, list[SeatStay]] = defaultdict(list)
        of_part: dict[int, SeatStay] = {}
        for (row, piece, start, end), kilograms in zip(cut, taken, strict=True):
            life = numbers.setdefault((row.part_id, row.edge, piece), len(numbers))
            before = so_far.get(life, np.zeros(len(record.crops)))
            stay = SeatStay(life, row.part_id, row.edge, row.position_id, start, end, before)
            so_far[life] = before + kilograms
            of_seat[row.position_id].append(stay)
            if row.removed is None:
                of_part[row.part_id] = stay
        for stays in of_seat.values():
            stays.sort(key=lambda stay: stay.start)
        return cls(dict(of_seat), of_part)

    def seats(self, record: Record, press_id: int, start: Floats) -> list[Seat]:
        """The wearing seats of a press at runs that begin at these instants, (n,)."""
        return [
            self._seat(record, position_id, start)
            for position_id, position in record.positions.items()
            if position.press_id == press_id and position_id in self.of_seat
        ]

    def _seat(self, record: Record, position_id: int, start: Floats) -> Seat:
        stays = self.of_seat[position_id]
        begin = np.array([stay.start for stay in stays])
        place = np.searchsorted(begin, start, side="right") - 1
        there = place >= 0
        there[there] = start[there] < np.array([stay.end for stay in stays])[place[there]]
        life, age = np.full(start.size, -1, dtype=np.int64), np.full(start.size, np.nan)
        own = place[there]
        life[there] = np.array([stay.life for stay in stays], dtype=np.int64)[own]
        position = record.positions[position_id]
        since = exposures(
            record.timelines_of([position.press_id]),
            np.full(own.size, position.press_id, dtype=np.int64),
            [position.barrel] * own.size,
            np.full(own.size, position.share),
            begin[own],
            start[there],
        ).kilograms
        before = np.array([stay.before_kg.sum() for stay in stays])
        age[there] = (before[own] + since.sum(axis=1)) / 1000
        part = record.parts[stays[0].part_id]
        return Seat(record.types[part.type_id].kind, life, age)


def _pieces(row: FittingRow, renewed: Sequence[float], end: float) -> Iterable[tuple[int, float, float]]:
    """A fitting cut where the part was rebuilt: how many rebuilds came before, begin and end."""
    last = end if row.removed is None else row.removed
    knots = [row.fitted, *(at for at in renewed if row.fitted < at < last), last]
    before = sum(at <= row.fitted for at in renewed)
    for number, (begin, until) in enumerate(pairwise(knots)):
        yield before + number, begin, until


def _taken(record: Record, spans: Sequence[tuple[int, float, float]]) -> Floats:
    """The kilograms of each crop that a seat took in each span (seat, begin, end), (n, crops)."""
    if not spans:
        return np.zeros((0, len(record.crops)))
    positions = [record.positions[position_id] for position_id, _, _ in spans]
    press = np.array([position.press_id for position in positions], dtype=np.int64)
    done = exposures(
        record.timelines_of(set(press.tolist())),
        press,
        [position.barrel for position in positions],
        np.array([position.share for position in positions], dtype=np.float64),
        np.array([begin for _, begin, _ in spans]),
        np.array([end for _, _, end in spans]),
    )
    return done.kilograms
