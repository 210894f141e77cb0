"""The days trigger: a number of calendar days since the last time."""

from __future__ import annotations

from datetime import date, timedelta

from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.forecasts.triggers import why
from wearlog.forecasts.triggers.case import Case
from wearlog.forecasts.triggers.trigger import Trigger
from wearlog.forecasts.triggers.trips import Trip, on
from wearlog.service.models import Rule


def trips(case: Case, every: float) -> Trip:
    record = case.record
    if case.start.at is None:
        unknown = _("Nothing is recorded from which the days could be counted.")
        return Trip(why=unknown, known=False, basis="none")
    begun = record.day_of(case.start.at)
    try:
        due = begun + timedelta(days=every)
    except OverflowError:  # beyond the last day that dates can represent: never due
        return Trip(why=beyond(every=every, since=case.since))
    return Trip(
        why=counted(every=every, since=case.since, due=due, as_of=record.as_of),
        used=(record.as_of - begun).days / every,
        **on(due),
    )


def counted(*, every: float, since: str, due: date, as_of: date) -> str:
    values = {"every": f"{every:g}", "since": since, "day": why.day(due, as_of)}
    if due <= as_of:
        return _("%(every)s days %(since)s were over on %(day)s.") % values
    return _("%(every)s days %(since)s are over on %(day)s.") % values


def beyond(*, every: float, since: str) -> str:
    return _("%(every)s days %(since)s end after the last day of the calendar.") % {
        "every": f"{every:g}",
        "since": since,
    }


def summary(rule: Rule, system: str) -> list[str]:
    assert rule.every_days is not None  # only a rule's own triggers are put into words
    return [_("after %s days") % units.plain(rule.every_days)]


TRIGGER = Trigger(name="days", column="every_days", trips=trips, summary=summary)
