"""The latest lines of the log about a press or a part, of all kinds, newest first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.equipment.models import Part, Press
from wearlog.logbook.corrections import may_change
from wearlog.people.models import LogRecord, User
from wearlog.runs import hours
from wearlog.runs.models import Reading, ReadingKind, Run, SeedHow
from wearlog.runs.queries import latest_runs
from wearlog.service.models import Incident, Photo, Service
from wearlog.service.photos import owner_of, photos_of
from wearlog.service.queries import latest_incidents, latest_services
from wearlog.web.site.records import kind_of


@dataclass(frozen=True)
class LogLine:
    """One line: when, what in a sentence, by whom, and whether this person may change it."""

    at: datetime
    word: str
    text: str
    by: str
    kind: str
    pk: int
    changeable: bool
    photos: tuple[Photo, ...] = ()


def seed_words(run: Run, system: str) -> str:
    """`400 kg`, `about 400 kg`, `400 kg worked out`."""
    mass = units.show_mass(run.seed_kg, system)
    if run.seed_how == SeedHow.ABOUT:
        return _("about %(mass)s") % {"mass": mass}
    if run.seed_how == SeedHow.WORKED_OUT:
        return _("%(mass)s worked out") % {"mass": mass}
    return mass


def of_run(run: Run, system: str) -> str:
    words = f"{run.crop}, {seed_words(run, system)}"
    if run.lot:
        words += ", " + _("lot %(lot)s") % {"lot": run.lot}
    if run.ends_at is None:
        words += ", " + _("still running")
    elif (pressed := hours.at_sight(run)) is not None:
        words += f", {units.show_hours(pressed, system)}"
    if run.purge:
        words += ", " + _("purge")
    return words + (f". {run.note}" if run.note else "")


def of_service(service: Service, system: str) -> str:
    thing = str(service.part or service.position or "")
    if service.part and service.position:
        thing += f" ({service.position.name})"
    words = f"{service.get_action_display()} {thing}{' ' + service.edge if service.edge else ''}".strip()
    return words + (f": {service.finding}" if service.finding else "")


def of_incident(incident: Incident, system: str) -> str:
    return incident.get_kind_display() + (f": {incident.note}" if incident.note else "")


def of_reading(reading: Reading, system: str) -> str:
    new = _("new meter") + ", " if reading.kind == ReadingKind.NEW_METER else ""
    return f"{new}{units.show_hours(reading.meter_h, system)}"


def line(
    record: LogRecord, at: datetime, word: str, text: str, by: str, *, user: User, now: datetime
) -> LogLine:
    return LogLine(
        at=at,
        word=word,
        text=text,
        by=by or str(record.entered_by or ""),
        kind=kind_of(record),
        pk=record.pk,
        changeable=may_change(user, record, at=now),
    )


def newest(lines: Iterable[LogLine], most: int) -> list[LogLine]:
    return sorted(lines, key=lambda one: one.at, reverse=True)[:most]


def of_press(press: Press, *, user: User, now: datetime, system: str, most: int = 12) -> list[LogLine]:
    """Runs, work, incidents and readings of the press: four queries."""
    lines = [
        line(
            run, run.ends_at or run.started_at, _("Run"), of_run(run, system), run.done_by, user=user, now=now
        )
        for run in latest_runs(press, limit=most)
    ]
    lines += [
        line(work, work.done_at, _("Work"), of_service(work, system), work.done_by, user=user, now=now)
        for work in latest_services(press, limit=most)
    ]
    lines += [
        line(one, one.happened_at, _("Incident"), of_incident(one, system), "", user=user, now=now)
        for one in latest_incidents(press, limit=most)
    ]
    readings = Reading.objects.standing().filter(press=press).select_related("entered_by")
    lines += [
        line(one, one.read_at, _("Meter"), of_reading(one, system), "", user=user, now=now)
        for one in readings.order_by("-read_at")[:most]
    ]
    return newest(lines, most)


def of_part(
    part: Part, services: Sequence[Service], *, user: User, now: datetime, system: str
) -> list[LogLine]:
    """All work on the part, with its photos; one query for those."""
    photos = photos_of(services)
    return [
        replace(
            line(work, work.done_at, _("Work"), of_service(work, system), work.done_by, user=user, now=now),
            photos=tuple(photos.get(owner_of(work), ())),
        )
        for work in services
    ]
