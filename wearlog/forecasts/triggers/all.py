"""All triggers of rules: each file of this folder that defines a `TRIGGER` is one of them.

Every field named by `Rule.TRIGGERS` must have exactly one trigger, and every trigger such a field; otherwise
loading this module raises LookupError.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from importlib import import_module
from pkgutil import iter_modules
from typing import Never

from wearlog.forecasts import triggers
from wearlog.forecasts.triggers.trigger import Trigger
from wearlog.forecasts.triggers.trips import Trip
from wearlog.service.models import Rule


def _found() -> Iterator[Trigger[Never]]:
    for file in iter_modules(triggers.__path__):
        name = f"{triggers.__name__}.{file.name}"
        if name != __name__:
            trigger: Trigger[Never] | None = getattr(import_module(name), "TRIGGER", None)
            if trigger is not None:
                yield trigger


def _in_order(found: Sequence[Trigger[Never]]) -> tuple[Trigger[Never], ...]:
    by_column = {trigger.column: trigger for trigger in found}
    if len(by_column) != len(found) or by_column.keys() != set(Rule.TRIGGERS):
        raise LookupError(
            f"Rule.TRIGGERS names {list(Rule.TRIGGERS)}, but the files in "
            f"forecasts/triggers are about {sorted(trigger.column for trigger in found)}. Give each "
            "of them one file."
        )
    return tuple(by_column[column] for column in Rule.TRIGGERS)


ALL = _in_order(tuple(_found()))
"""In the order of `Rule.TRIGGERS`, which decides between triggers that trip at the same time."""

BY_NAME = {trigger.name: trigger for trigger in ALL}
ORDER = {trigger.name: place for place, trigger in enumerate(ALL)}


def first_of(trips: Sequence[Trip]) -> Trip:
    """The trip that decides: the one with the earliest day; within a day the earliest known minute; then by
    the order of `ALL`. Among trips without a day, the one with the largest used part of its interval."""

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
    """`coming` from early - lead_days on, `due` from the due day on, `overdue` after the last day that the
    trigger allows; `later` without a day, `unknown` where the trigger has no data."""
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
