"""The tonnes trigger: an amount of seed through the thing since the last time."""

from __future__ import annotations

from dataclasses import replace

from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.forecasts.guessed import Guessed, guessed_in
from wearlog.forecasts.triggers import counting, why
from wearlog.forecasts.triggers.case import Case
from wearlog.forecasts.triggers.interval import interval
from wearlog.forecasts.triggers.trigger import Trigger
from wearlog.forecasts.triggers.trips import Trip
from wearlog.service.models import Rule


def trips(case: Case, every: float) -> Trip:
    before = case.start.earlier.seed_kg
    used = before + counting.kilograms_in(case.record, case.thing, case.since_instant, case.record.end)
    at = counting.kilograms_reached(case.record, case.thing, case.since_instant, every - before)
    made = interval(case, every, used, at, case.seed_path, why.mass, earlier=before)
    return replace(made, left_kg=every - used)


def summary(rule: Rule, system: str) -> list[str]:
    return [_("after %s of seed") % units.show_mass(rule.every_kg, system)]


def guessed(case: Case) -> Guessed:
    return guessed_in(case.record, case.thing.spans, since=case.since_instant)


TRIGGER = Trigger(name="tonnes", column="every_kg", trips=trips, summary=summary, guessed=guessed)
