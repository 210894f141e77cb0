"""The hours trigger: a number of hours of the press since the last time."""

from __future__ import annotations

from dataclasses import replace

from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.forecasts.triggers import counting, why
from wearlog.forecasts.triggers.case import Case
from wearlog.forecasts.triggers.interval import interval
from wearlog.forecasts.triggers.trigger import Trigger
from wearlog.forecasts.triggers.trips import Trip
from wearlog.service.models import Rule


def trips(case: Case, every: float) -> Trip:
    before = case.start.earlier.worked_h
    used = before + counting.hours_in(case.record, case.thing, case.since_instant, case.record.end)
    at = counting.hours_reached(case.record, case.thing, case.since_instant, every - before)
    made = interval(case, every, used, at, case.hours_path, why.hours, earlier=before)
    return replace(made, left_h=every - used)


def summary(rule: Rule, system: str) -> list[str]:
    return [_("after %s") % units.show_hours(rule.every_h, system)]


TRIGGER = Trigger(name="hours", column="every_h", trips=trips, summary=summary)
