"""The latest log lines about a press or a part, of all kinds, newest first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from wearlog.equipment.models import Press
from wearlog.people.models import LogRecord
from wearlog.runs.models import Reading, Run
from wearlog.runs.queries import latest_runs
from wearlog.service.models import Photo, Service
from wearlog.service.photos import owner_of, photos_of
from wearlog.service.queries import latest_incidents, latest_services
from wearlog.web.site.records import KINDS, kind_of
from wearlog.words.records import words_of


@dataclass(frozen=True)
class LogLine:
    """One line: when, what (in a sentence), by whom, and its record, on whose page it can be changed."""

    at: datetime
    word: str
    text: str
    by: str
    kind: str
    pk: int
    photos: tuple[Photo, ...] = ()


def line(record: LogRecord, *, system: str) -> LogLine:
    """A record as one line on the page of a press or a part, which the line does not name again."""
    kind = KINDS[kind_of(record)]
    ended = record.ends_at if isinstance(record, Run) else None
    return LogLine(
        at=ended or getattr(record, kind.when),
        word=str(kind.label),
        text=words_of(record, system).with_note,
        by=getattr(record, "done_by", "") or str(record.entered_by or ""),
        kind=kind.word,
        pk=record.pk,
    )


def newest(lines: Iterable[LogLine], most: int) -> list[LogLine]:
    return sorted(lines, key=lambda one: one.at, reverse=True)[:most]


def of_press(press: Press, *, system: str, most: int = 12) -> list[LogLine]:
    """Runs, work, incidents and readings of the press: four queries."""
    readings = Reading.objects.not_voided().filter(press=press).select_related("press", "entered_by")
    records: list[LogRecord] = [
        *latest_runs(press, limit=most),
        *latest_services(press, limit=most),
        *latest_incidents(press, limit=most),
        *readings.order_by("-read_at")[:most],
    ]
    return newest((line(record, system=system) for record in records), most)


def of_part(services: Sequence[Service], *, system: str) -> list[LogLine]:
    """The work, with its photos; one query for those."""
    photos = photos_of(services)
    return [
        replace(line(work, system=system), photos=tuple(photos.get(owner_of(work), ()))) for work in services
    ]
