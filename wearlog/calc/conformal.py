"""Ranges widened by a mill's own record: split conformal correction with one score per finished edge.

A range (early, mid, late) that was given for a day is scored by how far the day came from the middle,
counted in the range's own half on that side: 1 or less means that the range held. The factor is the
ceil((n + 1) * level)-th smallest of n scores (Vovk, Gammerman and Shafer, Algorithmic Learning in a Random
World, 2005; from memory), so that the next edge is within the widened range with chance `level` or more
where edges are alike. Three rules make it bearable for a small mill: nothing below 20 edges, never narrower
than given, never wider than three times. Days are ordinals or any other number of days.

Assumption: edges to come are like those that are finished. An edge that outlives its range is a miss before
it is finished; to leave it out until then would flatter the record.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil, inf

LEVEL = 0.8
LEAD_DAYS = 60
"""How far ahead a range is judged: long enough to order a part (common practice, no source)."""

FEWEST_EDGES = 20
WIDEST = 3.0


@dataclass(frozen=True, kw_only=True)
class DayRange:
    """10, 50 and 90 % days of one forecast, in this order."""

    early: float
    mid: float
    late: float

    def holds(self, day: float) -> bool:
        """Whether the day lies within, both ends included."""
        return self.early <= day <= self.late


@dataclass(frozen=True, kw_only=True)
class History:
    """Everything that was said of one edge over its life, and what came of it.

    said: day and range of each forecast, in any order. came: the day on which it reached its limit, None
    while it has not; known_on: the day on which the log could tell, None with `came`. ended: the day on which
    it was lost, broken or put away without having reached its limit, else None."""

    said: tuple[tuple[float, DayRange], ...]
    came: float | None = None
    known_on: float | None = None
    ended: float | None = None

    def said_by(self, day: float) -> DayRange | None:
        """The last range that was given up to a day."""
        past = [one for one in self.said if one[0] <= day]
        return max(past, key=lambda one: one[0])[1] if past else None


def score(given: DayRange, came: float) -> float:
    """Halves of the range between its middle and the day: 0 in the middle, 1 at either end.

    Infinite where the range has no width on that side and the day is not its middle."""
    away = came - given.mid
    half = given.late - given.mid if away > 0 else given.mid - given.early
    away = abs(away)
    if away == 0:
        return 0.0
    return away / half if half > 0 else inf


def scores_on(day: float, histories: Iterable[History], *, lead: float = LEAD_DAYS) -> list[float]:
    """The scores that a forecast day may use, at most one of each edge, in the order of the edges.

    An edge known to be finished before that day is judged by the last range given at least `lead` days before
    it came. One not known to be finished, nor ended, is a miss (infinite) once the late day of what was said
    at least `lead` days before the forecast day is over; else it is not judged yet."""
    found = []
    for one in histories:
        if one.came is not None and one.known_on is not None and one.known_on < day:
            given = one.said_by(one.came - lead)
            if given is not None:
                found.append(score(given, one.came))
        elif one.ended is None or one.ended >= day:
            given = one.said_by(day - lead)
            if given is not None and given.late < day:
                found.append(inf)
    return found


def factor(scores: Sequence[float], *, level: float = LEVEL) -> float:
    """By how much ranges are to be widened, from 1 (not at all) to 3; 1 below 20 scores.

    The order of the scores is of no account, and a larger score never makes the factor smaller."""
    count = len(scores)
    if count < FEWEST_EDGES:
        return 1.0
    rank = ceil((count + 1) * level)
    found = sorted(scores)[rank - 1] if rank <= count else inf
    return min(max(found, 1.0), WIDEST)


def widened(given: DayRange, by: float) -> DayRange:
    """Both halves of the range times the factor, about the same middle."""
    return DayRange(
        early=given.mid - by * (given.mid - given.early),
        mid=given.mid,
        late=given.mid + by * (given.late - given.mid),
    )


@dataclass(frozen=True, kw_only=True)
class Forward:
    """How often ranges held, each widened only by what was known on the day on which it was given.

    edges: finished ones. held_as_given and held_widened: of them. corrected: how many had a factor above 1.
    """

    edges: int
    held_as_given: int
    held_widened: int
    corrected: int


def forward(histories: Sequence[History], *, lead: float = LEAD_DAYS, level: float = LEVEL) -> Forward:
    """Go through the finished edges as they went: each range is widened by what was known when it was given,
    `lead` days or more ahead, and then judged. Nothing that came later is used."""
    held = widened_held = corrected = edges = 0
    for one in histories:
        if one.came is None:
            continue
        limit = one.came - lead
        days = [day for day, _ in one.said if day <= limit]
        given = one.said_by(limit)
        if given is None:
            continue
        by = factor(scores_on(max(days), histories, lead=lead), level=level)
        edges += 1
        corrected += by > 1.0
        held += given.holds(one.came)
        widened_held += widened(given, by).holds(one.came)
    return Forward(edges=edges, held_as_given=held, held_widened=widened_held, corrected=corrected)
