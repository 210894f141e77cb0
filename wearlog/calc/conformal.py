"""Split conformal correction: prediction intervals are widened by how well earlier ones held at this mill.

A forecast is a range of days (early, mid, late). Once its edge has reached the limit, the range is scored:
the distance of the actual day from the mid day, divided by the half-width of the range on that side, so that
1 or less means that the range held. There is one score for each finished edge. The widening factor is the
ceil((n + 1) * level)-th smallest of n scores (Vovk, Gammerman and Shafer, Algorithmic Learning in a Random
World, 2005; from memory), so that the widened range contains the next edge's day with probability `level` or
more where edges are alike. Three rules suit this to a small mill: no correction below 20 edges, no range is
ever made narrower, and none more than three times as wide. Days are ordinals or any other day numbers.

Assumption: future edges behave like finished ones. An edge that outlives its range counts as a miss even
before it is finished; leaving it out until then would make the record look better than it is.
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
    """The 10, 50 and 90 % quantiles of the forecast day, in this order."""

    early: float
    mid: float
    late: float

    def holds(self, day: float) -> bool:
        """Whether the day lies within the range, both ends included."""
        return self.early <= day <= self.late


@dataclass(frozen=True, kw_only=True)
class History:
    """All forecasts that were made for one edge over its life, and the outcome.

    forecasts: (day of the forecast, range), in any order. came: the day on which the edge reached its limit,
    None if it has not. known_on: the first day on which the log showed this, None if `came` is None. ended:
    the day on which the edge was lost, broken or retired without having reached its limit, else None."""

    forecasts: tuple[tuple[float, DayRange], ...]
    came: float | None = None
    known_on: float | None = None
    ended: float | None = None

    def forecast_on(self, day: float) -> DayRange | None:
        """The range of the latest forecast made on or before a day, None where there is none."""
        past = [one for one in self.forecasts if one[0] <= day]
        return max(past, key=lambda one: one[0])[1] if past else None


def score(given: DayRange, came: float) -> float:
    """The distance from the mid day in half-widths of the range: 0 at the mid day, 1 at either end.

    Infinite where the range has no width on that side and the day is not the mid day."""
    away = came - given.mid
    half = given.late - given.mid if away > 0 else given.mid - given.early
    away = abs(away)
    if away == 0:
        return 0.0
    return away / half if half > 0 else inf


def scores_on(day: float, histories: Iterable[History], *, lead: float = LEAD_DAYS) -> list[float]:
    """The scores that a forecast made on `day` may use: at most one for each edge, in the order of the edges.

    An edge known before that day to have finished is scored by its last range given at least `lead` days
    before it finished. An edge that has neither finished nor ended counts as a miss (an infinite score) once
    the late day of its last range given at least `lead` days before `day` has passed; until then it has no
    score."""
    found = []
    for one in histories:
        if one.came is not None and one.known_on is not None and one.known_on < day:
            given = one.forecast_on(one.came - lead)
            if given is not None:
                found.append(score(given, one.came))
        elif one.ended is None or one.ended >= day:
            given = one.forecast_on(day - lead)
            if given is not None and given.late < day:
                found.append(inf)
    return found


def factor(scores: Sequence[float], *, level: float = LEVEL) -> float:
    """The factor by which to widen ranges, from 1 (not at all) to 3; always 1 below 20 scores.

    The order of the scores does not matter, and a larger score never makes the factor smaller."""
    count = len(scores)
    if count < FEWEST_EDGES:
        return 1.0
    rank = ceil((count + 1) * level)
    found = sorted(scores)[rank - 1] if rank <= count else inf
    return min(max(found, 1.0), WIDEST)


def widened(given: DayRange, by: float) -> DayRange:
    """The range with both halves multiplied by the factor `by`, about the same mid day."""
    return DayRange(
        early=given.mid - by * (given.mid - given.early),
        mid=given.mid,
        late=given.mid + by * (given.late - given.mid),
    )


@dataclass(frozen=True, kw_only=True)
class Forward:
    """How often ranges held in a replay in which each is widened only by what was known when it was given.

    edges: the number of finished edges; the other counts are out of these. held_as_given, held_widened: how
    many ranges held without and with widening. corrected: how many were widened (factor above 1).
    """

    edges: int
    held_as_given: int
    held_widened: int
    corrected: int


def forward(histories: Sequence[History], *, lead: float = LEAD_DAYS, level: float = LEVEL) -> Forward:
    """Replay the finished edges: widen the last range given at least `lead` days before each edge finished by
    what was known when that range was given, and check both ranges. Later knowledge is never used."""
    held = widened_held = corrected = edges = 0
    for one in histories:
        if one.came is None:
            continue
        limit = one.came - lead
        days = [day for day, _ in one.forecasts if day <= limit]
        given = one.forecast_on(limit)
        if given is None:
            continue
        by = factor(scores_on(max(days), histories, lead=lead), level=level)
        edges += 1
        corrected += by > 1.0
        held += given.holds(one.came)
        widened_held += widened(given, by).holds(one.came)
    return Forward(edges=edges, held_as_given=held, held_widened=widened_held, corrected=corrected)
