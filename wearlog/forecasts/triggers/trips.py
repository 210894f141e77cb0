"""When one trigger of a rule trips for a thing: the result type of all triggers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TypedDict

from wearlog.forecasts.items import WearFigure


@dataclass(frozen=True, kw_only=True)
class Trip:
    """When a trigger trips: due, early and late are the 50, 10 and 90 % days, None where no day is known.

    why: one sentence with the numbers behind it. trigger: the trigger's name, filled in by `Trigger.of`.
    known: whether there are enough data (if not, the item's state is `unknown`).
    at: the instant of a trip in the past, in seconds since 1970, where it is known to the second.
    left_*: what is left in the trigger's own measure, negative once it has tripped; None in other measures.
    used: the used fraction of its interval (1 is due), which ranks triggers that have no dates.
    """

    why: str
    trigger: str = ""
    known: bool = True
    due: date | None = None
    early: date | None = None
    late: date | None = None
    at: float | None = None
    left_kg: float | None = None
    left_h: float | None = None
    basis: str = "interval"
    used: float = 0.0
    cycle: str = ""
    wear: WearFigure | None = None


class Dates(TypedDict):
    due: date | None
    early: date | None
    late: date | None


def on(day: date) -> Dates:
    """The dates of a trip whose day is certain: all three are the same."""
    return {"due": day, "early": day, "late": day}
