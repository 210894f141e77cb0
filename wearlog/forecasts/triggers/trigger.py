"""What a trigger is: one object with all that lies above its column."""

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
"""So many days after its due day work is overdue, where the day is counted and not drawn from a range."""

Value = TypeVar("Value")


@dataclass(frozen=True, kw_only=True)
class Trigger(Generic[Value]):
    """A trigger of rules; `Value` is what a rule asks for by it.

    name: the trigger's word in forecasts and their JSON.
    column: the name of its column, one of `Rule.TRIGGERS`.
    trips: when it trips for a case, from which numbers, in one sentence; None where the case has nothing that
    it could be about.
    told: how it reads in a list of rules, in the given system of units; one text or more.
    guessed: how much of the seed that it goes by was guessed; None where it does not go by seed.
    overdue_by_range: whether work is overdue after the late end of the range, instead of
    `COUNTED_OVERDUE_DAYS` after the due day.
    """

    name: str
    column: str
    trips: Callable[[Case, Value], Trip | None]
    told: Callable[[Rule, str], list[str]]
    guessed: Callable[[Case], Guessed] | None = None
    overdue_by_range: bool = False

    def is_named_by(self, rule: RuleRow) -> bool:
        return self.column in rule.triggers

    def of(self, case: Case) -> Trip | None:
        """When it trips for the case; None where the case's rule does not name it."""
        if not self.is_named_by(case.rule):
            return None
        trip = self.trips(case, cast("Value", case.rule.triggers[self.column]))
        if trip is None:
            return None
        cycle = f"{case.start.cycle}.{trip.cycle}".rstrip(".")
        return replace(trip, trigger=self.name, cycle=cycle)

    def overdue_after(self, *, due: date | None, late: date | None) -> date | None:
        """The last day on which work that it asks for is not overdue yet; None where no day can be named."""
        if self.overdue_by_range:
            return late
        return None if due is None else due + timedelta(days=COUNTED_OVERDUE_DAYS)
