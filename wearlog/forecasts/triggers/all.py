"""All triggers of rules: each file of this folder that defines a `TRIGGER` is one of them.

Every field that `Rule.TRIGGERS` names has one trigger, and every trigger such a field; a slip is an
error when this module is loaded.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from importlib import import_module
from pkgutil import iter_modules
from typing import Any

from wearlog.forecasts import triggers
from wearlog.forecasts.triggers.trigger import Trigger
from wearlog.forecasts.triggers.trips import Trip
from wearlog.service.models import Rule


def _found() -> Iterator[Trigger[Any]]:
    for file in iter_modules(triggers.__path__):
        name = f"{triggers.__name__}.{file.name}"
        if name != __name__:
            trigger = getattr(import_module(name), "TRIGGER", None)
            if trigger is not None:
                yield trigger


def _in_order(found: Sequence[Trigger[Any]]) -> tuple[Trigger[Any], ...]:
    by_column = {trigger.column: trigger for trigger in found}
    if len(by_column) != len(found) or by_column.keys() != set(Rule.TRIGGERS):
        raise LookupError(
            f"Rule.TRIGGERS names {list(Rule.TRIGGERS)}, but the files in "
            f"forecasts/triggers are about {sorted(trigger.column for trigger in found)}. Give each "
            "of them one file."
        )
    return tuple(by_column[column] for column in Rule.TRIGGERS)


ALL = _in_order(tuple(_found()))
"""In the order of `Rule.TRIGGERS`, in which a tie of days is settled."""

BY_NAME = {trigger.name: trigger for trigger in ALL}
ORDER = {trigger.name: place for place, trigger in enumerate(ALL)}


def first_of(trips: Sequence[Trip]) -> Trip:
    """The trip that decides: the earliest day, within a day the earliest minute known, then in the order
    of `ALL`. Of those without a day the one whose interval is spent furthest."""

    def rank(trip: Trip) -> tuple[bool, bool, date, float, float, int]:
        return (
            not trip.known,
            trip.due is None,
            trip.due or date.max,
            round(trip.at / 60) if trip.at is not None else float("inf"),
            -trip.used if trip.due is None else 0.0,
            ORDER[trip.trigger],
        )

    return min(trips, key=rank)


def state_of(trip: Trip, *, as_of: date, lead_days: float) -> str:
    """`coming` from early - lead_days, `due` from the due day, `overdue` after the day that the trigger
    names; `later` without a day, `unknown` where nothing can be said."""
    if not trip.known:
        return "unknown"
    overdue_after = BY_NAME[trip.trigger].overdue_after(due=trip.due, late=trip.late)
    if overdue_after is not None and as_of > overdue_after:
        return "overdue"
    if trip.due is not None and as_of >= trip.due:
        return "due"
    if trip.early is not None and (trip.early - as_of).days <= lead_days:
        return "coming"
    return "later"
