"""When one trigger of a rule trips for a thing: the common answer of all triggers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TypedDict

from wearlog.forecasts.items import WearFigure


@dataclass(frozen=True, kw_only=True)
class Trip:
    """When a trigger trips: 10, 50 and 90 %; all None where no day can be named.

    why: one sentence with the numbers that it rests on. trigger: its name, which `Trigger.of` fills in.
    known: whether anything at all can be said (else the item's state is `unknown`).
    at: the instant of a trip in the past, in seconds since 1970, where it is known to the second.
    left_*: what is left in the trigger's own measure, negative once it has tripped; None in others.
    used: how much of its interval is spent (1 is due), to settle which of two triggers without dates leads.
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
    """The dates of a trip that is certain, or has happened: there is nothing left to be unsure of."""
    return {"due": day, "early": day, "late": day}
