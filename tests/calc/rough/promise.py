"""The promise about mills without much trouble: ranges hold, and errors are half of those of the crude rule.

Cases are chosen by what the crude rule says, which anyone can see, not by the truth: its day lies 3 to 400
days ahead. An edge that is not worn when the record ends counts as held where the late day is beyond it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tests.calc.rough.cases import FURTHEST, NEAREST
from tests.calc.rough.mill import Edge, Mill, days_from_start
from tests.calc.rough.plain.lumped import days_by_lumped_rate
from tests.calc.rough.plain.path import Path
from tests.calc.rough.plain.seen import lives_seen


@dataclass(frozen=True)
class Score:
    """error, crude_error: sums of days over the forecasts of edges that came to their limit."""

    forecasts: int = 0
    missing: int = 0
    covered: int = 0
    error: float = 0.0
    crude_error: float = 0.0

    @property
    def coverage(self) -> float:
        return self.covered / max(self.forecasts - self.missing, 1)

    @property
    def ratio(self) -> float:
        return self.error / self.crude_error if self.crude_error else float("nan")

    def __add__(self, other: Score) -> Score:
        return Score(*(a + b for a, b in zip(vars(self).values(), vars(other).values(), strict=True)))


def score(mill: Mill, dates: int = 8) -> Score:
    """Forecasts of every edge in use on `dates` days of the record's first 60 %, held against the truth."""
    result = Score()
    for index in range(dates):
        day = int(mill.days * (0.2 + 0.4 * index / dates))
        got = mill.forecast(day)
        for edge, crude in _crude_days(mill, day):
            result = result + _scored(mill, edge, crude, days_from_start(got[edge.key]))
    return result


def _crude_days(mill: Mill, day: int) -> Iterator[tuple[Edge, int]]:
    """The edges whose wear can be told by the truth, with the crude rule's day where that is near enough."""
    last = {one.edge.key: one for lives in lives_seen(mill, day).values() for one in lives}
    for edge in mill.in_use(day):
        path = Path.of_press(mill, edge.press(day), day).through(edge)
        crude = days_by_lumped_rate(edge.type.budget, last[edge.key], path)
        if crude is None or not NEAREST <= crude[1] - day <= FURTHEST:
            continue
        # Taken off before its time: nobody knows when it would have been.
        unknown = edge.crossed is None and edge.ended is not None
        if not unknown and (edge.crossed is None or edge.crossed > day):
            yield edge, crude[1]


def _scored(mill: Mill, edge: Edge, crude: int, said: tuple[int, int, int] | None) -> Score:
    if said is None:
        return Score(forecasts=1, missing=1)
    early, mid, late = said
    if edge.crossed is None:
        return Score(forecasts=1, covered=late > mill.days)
    return Score(
        forecasts=1,
        covered=early <= edge.crossed <= late,
        error=abs(mid - edge.crossed),
        crude_error=abs(crude - edge.crossed),
    )
