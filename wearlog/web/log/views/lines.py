"""The log as lines: records of every kind in one chronological list, one sentence each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet
from django.urls import reverse

from wearlog.equipment.models import Fitting
from wearlog.people.models import LogRecord
from wearlog.service.models import (
    Measurement,
    Photo,
)
from wearlog.service.photos import owner_of, photos_of
from wearlog.web.site.records import KINDS, RecordKind
from wearlog.words.records import words_of

if TYPE_CHECKING:
    from wearlog.people.fields import Words

PAGE = 40


@dataclass(frozen=True)
class RecordLine:
    """One record as the log shows it."""

    kind: str
    label: Words
    when: datetime
    press: str
    text: str
    note: str
    by: str
    voided: bool
    void_reason: str
    url: str
    correct_url: str
    void_url: str
    photos: tuple[Photo, ...] = ()


@dataclass(frozen=True)
class Filter:
    """The reader's filter; the first or last day is None where it is open."""

    press_id: int | None = None
    kind: str = ""
    first: date | None = None
    last: date | None = None


@dataclass(frozen=True)
class Cursor:
    """The last line of a page, below which the next page begins. In URLs it is `when~kind~pk`."""

    when: datetime
    kind: str
    pk: int

    @classmethod
    def read(cls, text: str) -> Cursor | None:
        when, _tilde, rest = text.partition("~")
        kind, _tilde, pk = rest.partition("~")
        if kind not in KINDS or not pk.isdecimal() or len(pk) > 18:
            return None
        try:
            instant = datetime.fromisoformat(when)
        except ValueError:
            return None
        return cls(instant.astimezone(UTC), kind, int(pk)) if instant.tzinfo else None

    def __str__(self) -> str:
        return f"{self.when.astimezone(UTC).isoformat().replace('+00:00', 'Z')}~{self.kind}~{self.pk}"


def start_of(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time.min, tzinfo=zone).astimezone(UTC)


def newest(wanted: Filter, below: Cursor | None, zone: ZoneInfo) -> tuple[list[LogRecord], Cursor | None]:
    """At most PAGE records, newest first, and the cursor for the next page where there is one.

    One query for each kind, limited to one page, so that the cost does not grow for older pages.
    """
    order = {word: number for number, word in enumerate(KINDS)}
    found = [
        (when, -order[word], pk)
        for word, kind in KINDS.items()
        if not wanted.kind or wanted.kind == word
        for when, pk in _cut(kind, wanted, below, order, zone)
    ]
    found.sort(reverse=True)
    page = [(list(KINDS)[-minus], pk, when) for when, minus, pk in found[:PAGE]]
    records = {
        word: KINDS[word]
        .model._default_manager.select_related(*KINDS[word].related)
        .in_bulk([pk for other, pk, _when in page if other == word])
        for word in {word for word, _pk, _when in page}
    }
    rows = [records[word][pk] for word, pk, _when in page]
    if len(found) <= PAGE:
        return rows, None
    word, pk, when = page[-1]
    return rows, Cursor(when, word, pk)


def _cut(
    kind: RecordKind, wanted: Filter, below: Cursor | None, order: dict[str, int], zone: ZoneInfo
) -> Iterable[tuple[datetime, int]]:
    """(instant, primary key) of at most one record more than a page. Only indexed columns, so that no rows
    are read."""
    rows: QuerySet[LogRecord] = kind.model._default_manager.all()
    if wanted.press_id is not None:
        of_press = Q(**{f"{kind.press}_id": wanted.press_id})
        if kind.model is Measurement:
            # A gauge without a service has no press; it counts for the press on which its part was fitted.
            of_press |= Q(
                service__isnull=True,
                part__in=Fitting.objects.open().filter(position__press_id=wanted.press_id).values("part_id"),
            )
        rows = rows.filter(of_press)
    if wanted.first is not None:
        rows = rows.filter(**{f"{kind.when}__gte": start_of(wanted.first, zone)})
    if wanted.last is not None:
        rows = rows.filter(**{f"{kind.when}__lt": start_of(wanted.last + timedelta(days=1), zone)})
    if below is not None:
        earlier = Q(**{f"{kind.when}__lt": below.when})
        same = Q(**{kind.when: below.when})
        if order[kind.word] > order[below.kind]:
            earlier |= same
        elif kind.word == below.kind:
            earlier |= same & Q(pk__lt=below.pk)
        rows = rows.filter(earlier)
    return rows.order_by(f"-{kind.when}", "-pk").values_list(kind.when, "pk")[: PAGE + 1]


def line_of(record: LogRecord, system: str, photos: Sequence[Photo] = ()) -> RecordLine:
    kind = next(kind for kind in KINDS.values() if kind.model is type(record))
    words = words_of(record, system)
    key = {"kind": kind.word, "pk": record.pk}
    return RecordLine(
        kind=kind.word,
        label=kind.label,
        when=getattr(record, kind.when),
        press=words.press,
        text=words.text,
        note=words.note,
        by=getattr(record, "done_by", "") or getattr(record, "by_name", "") or str(record.entered_by or ""),
        voided=record.voided_at is not None,
        void_reason=record.void_reason,
        url=reverse("web:record", kwargs=key),
        correct_url=reverse("web:correct", kwargs=key),
        void_url=reverse("web:void", kwargs=key),
        photos=tuple(photos),
    )


def lines_of(records: Sequence[LogRecord], system: str) -> list[RecordLine]:
    """The lines of the records, with their photos; one query for all photos."""
    photos = photos_of(records)
    return [line_of(record, system, photos.get(owner_of(record), ())) for record in records]
