"""When one trigger of a rule trips for a thing: the common answer of all triggers, and which comes first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TypedDict

from wearlog.forecasts.items import WearFigure

TRIGGERS = ("hours", "tonnes", "days", "season", "limit", "drift", "incident")
"""In the order in which a tie of days is settled."""

COUNTED_OVERDUE_DAYS = 7


@dataclass(frozen=True, kw_only=True)
class Trip:
    """When a trigger trips: 10, 50 and 90 %; all None where no day can be named.

    known: whether anything at all can be said (else the item's state is `unknown`).
    at: the instant of a trip in the past, in seconds since 1970, where it is known to the second.
    left_*: what is left in the trigger's own measure, negative once it has tripped; None in others.
    used: how much of its interval is spent (1 is due), to settle which of two triggers without dates leads.
    """

    trigger: str
    why: str
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


def first_of(trips: Sequence[Trip]) -> Trip:
    """The trip that decides: the earliest day, within a day the earliest minute known, then in the order
    of `TRIGGERS`. Of those without a day the one whose interval is spent furthest."""

    def rank(trip: Trip) -> tuple[bool, bool, date, float, float, int]:
        return (
            not trip.known,
            trip.due is None,
            trip.due or date.max,
            round(trip.at / 60) if trip.at is not None else float("inf"),
            -trip.used if trip.due is None else 0.0,
            TRIGGERS.index(trip.trigger),
        )

    return min(trips, key=rank)


def state_of(trip: Trip, *, as_of: date, lead_days: float) -> str:
    """`coming` from early - lead_days, `due` from the due day, `overdue` past the late day (a week past
    the due day where the trigger counts); `later` without a day, `unknown` where nothing can be said."""
    if not trip.known:
        return "unknown"
    overdue_after = trip.late if trip.trigger == "limit" else None
    if trip.trigger != "limit" and trip.due is not None:
        overdue_after = trip.due + timedelta(days=COUNTED_OVERDUE_DAYS)
    if overdue_after is not None and as_of > overdue_after:
        return "overdue"
    if trip.due is not None and as_of >= trip.due:
        return "due"
    if trip.early is not None and (trip.early - as_of).days <= lead_days:
        return "coming"
    return "later"
