"""The class of triggers: one object holds everything about a trigger except its database column."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Generic, TypeVar, cast

from wearlog.forecasts.guessed import Guessed
from wearlog.forecasts.triggers.case import Case
from wearlog.forecasts.triggers.trips import Trip
from wearlog.history.rows import RuleRow
from wearlog.service.models import Rule

COUNTED_OVERDUE_DAYS = 7
"""For triggers with a counted day: work is overdue this many days after its due day."""

Value = TypeVar("Value", contravariant=True)


@dataclass(frozen=True, kw_only=True)
class Trigger(Generic[Value]):
    """A trigger of rules; `Value` is the type of the value that a rule sets for it.

    name: the trigger's word in forecasts and their JSON.
    column: the name of its column, one of `Rule.TRIGGERS`.
    trips: when it trips for a case and why, in one sentence; None where the trigger can't apply to the case.
    summary: how it reads in a list of rules, in the given system of units; one text or more.
    guessed: how much of the seed behind the trip was guessed; None for a trigger that does not depend on
    seed.
    overdue_by_range: whether work is overdue after the late end of the range, instead of
    `COUNTED_OVERDUE_DAYS` after the due day.
    """

    name: str
    column: str
    trips: Callable[[Case, Value], Trip | None]
    summary: Callable[[Rule, str], list[str]]
    guessed: Callable[[Case], Guessed] | None = None
    overdue_by_range: bool = False

    def is_used_by(self, rule: RuleRow) -> bool:
        return self.column in rule.triggers

    def of(self, case: Case) -> Trip | None:
        """When it trips for the case; None where the case's rule does not use it or it can't apply."""
        if not self.is_used_by(case.rule):
            return None
        trip = self.trips(case, cast("Value", case.rule.triggers[self.column]))
        if trip is None:
            return None
        cycle = f"{case.start.cycle}.{trip.cycle}".rstrip(".")
        return replace(trip, trigger=self.name, cycle=cycle)

    def overdue_after(self, *, due: date | None, late: date | None) -> date | None:
        """The last day on which the work is not overdue yet; None where no day is known."""
        if self.overdue_by_range:
            return late
        return None if due is None else due + timedelta(days=COUNTED_OVERDUE_DAYS)
