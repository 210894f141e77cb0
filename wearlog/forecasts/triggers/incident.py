"""The incident trigger: the first incident of certain kinds since the last time, where the thing was."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _

from wearlog.forecasts.things import Thing, place_at
from wearlog.forecasts.triggers import why
from wearlog.forecasts.triggers.case import Case
from wearlog.forecasts.triggers.trigger import Trigger
from wearlog.forecasts.triggers.trips import Trip, on
from wearlog.history.rows import IncidentRow
from wearlog.service.models import IncidentKind, Rule


def trips(case: Case, kinds: tuple[str, ...]) -> Trip:
    record = case.record
    for one in record.incidents:
        if one.happened > case.since_instant and one.kind in kinds and hit(case.thing, one):
            day = record.day_of(one.happened)
            return Trip(
                why=happened(kind=one.kind, on=day, as_of=record.as_of),
                at=one.happened,
                used=1.0,
                cycle=f"incident-{one.id}",
                **on(day),
            )
    return Trip(why=none_happened(kinds=kinds, since=case.since))


def hit(thing: Thing, incident: IncidentRow) -> bool:
    """Whether an incident happened where the thing was: at its position, or on its press if it names none."""
    place = place_at(thing, incident.happened)
    if place is None or place.press_id != incident.press_id:
        return False
    return place.position_id is None or incident.position_id in (None, place.position_id)


def incident_words(kind: str) -> str:
    """`metal in the seed`, in the active language; an unknown kind is returned unchanged."""
    return str(IncidentKind(kind).label) if kind in IncidentKind.values else kind


def happened(*, kind: str, on: date, as_of: date) -> str:
    return _("An incident (%(kind)s) on %(day)s asks for it at once.") % {
        "kind": incident_words(kind),
        "day": why.day(on, as_of),
    }


def none_happened(*, kinds: Sequence[str], since: str) -> str:
    listed = ", ".join(incident_words(kind) for kind in kinds)
    return _("No incident (%(kinds)s) %(since)s.") % {"kinds": listed, "since": since}


def summary(rule: Rule, system: str) -> list[str]:
    return [_("after an incident: %s") % IncidentKind(kind).label for kind in rule.after_incident.split()]


TRIGGER = Trigger(name="incident", column="after_incident", trips=trips, summary=summary)
