"""A record's history: the audit trail in words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.core.exceptions import FieldDoesNotExist
from django.db import models
from django.urls import reverse
from django.utils.translation import gettext as _

from wearlog.equipment.models import Fitting
from wearlog.lockout.models import ReleaseStatement
from wearlog.people.audit import COMMAND_LINE
from wearlog.people.models import AuditEntry
from wearlog.people.refusals import Refused
from wearlog.people.words import day, in_language
from wearlog.runs.models import Run
from wearlog.runs.queries import reading_at_end
from wearlog.service.models import Incident, LotHold, Measurement, Service
from wearlog.web.site.fields import Reader
from wearlog.web.site.records import kind_of
from wearlog.words.history import act_words, column_words
from wearlog.words.records import gauge_words

UNTOLD = {"id", "entered_at", "entered_by_id", "entry", "slot", "ends_at", "ref"}
"""Columns left out of the history: derived ones, or those shown elsewhere on the line."""

Names = Mapping[tuple[str, str], str]
"""The names of records by the column that refers to them, and their primary key as text."""


@dataclass(frozen=True)
class Difference:
    name: str
    old: str
    new: str


@dataclass(frozen=True)
class Change:
    """One row of the audit trail; `differences` has only the fields that changed."""

    at: datetime
    by: str
    action: str
    reason: str
    differences: tuple[Difference, ...]


def related_to(record: models.Model, reader: Reader) -> list[tuple[str, str]]:
    """(text, URL) of related records: a run's reading, a service's gauges, a held lot."""
    found: list[tuple[str, str]] = []
    if isinstance(record, Run):
        reading = reading_at_end(record)
        if reading is not None:
            found.append((_("The meter reading at its end"), address_of(reading)))
    elif isinstance(record, Service):
        stated = ReleaseStatement.objects.filter(service=record).first()
        if stated is not None:
            words = _("%(who)s stated the steps before a restart") % {"who": stated.by_name}
            found.append((words, reverse("web:isolation", kwargs={"pk": record.press_id})))
        found += [
            (_("Its gauge: %s") % gauge_words(gauge, reader.system), address_of(gauge))
            for gauge in record.measurements.not_voided().select_related("part__part_type")
        ]
    elif isinstance(record, Measurement) and record.service is not None:
        found.append((_("The work that it belongs to"), address_of(record.service)))
    elif isinstance(record, Incident):
        hold = LotHold.objects.filter(incident=record, released_at__isnull=True).first()
        if hold is not None:
            found.append((_("Release the held lot"), reverse("web:lot-release", kwargs={"pk": hold.pk})))
    if isinstance(record, Measurement | Fitting):
        found.append((_("The part"), reverse("web:part", kwargs={"pk": record.part_id})))
    return found


def address_of(record: models.Model) -> str:
    return reverse("web:record", kwargs={"kind": kind_of(record), "pk": record.pk})


def changes_of(record: models.Model, reader: Reader) -> list[Change]:
    """The changes of the record, oldest first; the first one is the entry itself."""
    entries = list(
        AuditEntry.objects.filter(record=record._meta.model_name, record_id=record.pk).order_by("pk")
    )
    names = names_in(record, entries)
    return [
        Change(
            at=entry.at,
            by=_("command line") if entry.by_name == COMMAND_LINE else entry.by_name,
            action=act_words(entry.action),
            reason=entry.reason,
            differences=tuple(differences(record, entry.old or {}, entry.new or {}, reader, names)),
        )
        for entry in entries
    ]


def times_written(record: models.Model) -> int:
    """How often the record was written by now, for a form to say what it was made from."""
    return AuditEntry.objects.filter(record=record._meta.model_name, record_id=record.pk).count()


def refuse_if_written(times: int, *, since: int | None) -> None:
    """Raise Refused if a record was written more often than when its form was shown (`since`; None: the form
    does not say)."""
    if since is not None and since != times:
        raise Refused(
            _(
                "Somebody has changed this record since you opened it. Open it afresh, look at what "
                "it says now, and correct it then. What you typed stands below."
            )
        )


def names_in(record: models.Model, entries: Sequence[AuditEntry]) -> Names:
    """The names of the records that the entries refer to; one query for each column that refers to any."""
    referred: dict[str, set[object]] = defaultdict(set)
    for entry in entries:
        for column, value in [*(entry.old or {}).items(), *(entry.new or {}).items()]:
            if column.endswith("_id") and column not in UNTOLD and value not in (None, ""):
                referred[column].add(value)
    names: dict[tuple[str, str], str] = {}
    for column, keys in referred.items():
        target = target_of(record, column)
        if target is None:
            continue
        # A name may hold that of another record: a position's holds its press's.
        for found in target._default_manager.select_related().filter(pk__in=keys):
            names[column, str(found.pk)] = str(found)
    return names


def target_of(record: models.Model, column: str) -> type[models.Model] | None:
    """The model to which a foreign key's column refers, or None where it is none any more."""
    try:
        target = record._meta.get_field(column.removesuffix("_id")).related_model
    except FieldDoesNotExist:
        return None
    return None if target is None or isinstance(target, str) else target


def differences(
    record: models.Model,
    old: Mapping[str, object],
    new: Mapping[str, object],
    reader: Reader,
    names: Names,
) -> list[Difference]:
    found = []
    for name in new:
        if name in UNTOLD or old.get(name) == new[name] or (not old and new[name] in (None, "", False)):
            continue
        found.append(
            Difference(
                name=column_words(type(record), name),
                old=shown(record, name, old.get(name), reader, names) if old else "",
                new=shown(record, name, new[name], reader, names),
            )
        )
    return found


def shown(record: models.Model, column: str, value: object, reader: Reader, names: Names) -> str:
    if value in (None, ""):
        return "–"
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    try:
        if column.endswith("_at"):
            local = datetime.fromisoformat(str(value)).astimezone(reader.zone)
            return f"{day(local)} {local:%H:%M}"
        if column.endswith("_on"):
            return day(date.fromisoformat(str(value)))
    except ValueError:
        return str(value)
    if column.endswith("_id"):
        # The key, where the record no longer exists.
        return names.get((column, str(value)), str(value))
    field = field_of(record, column)
    if field is not None and field.choices:
        return str(dict(field.flatchoices).get(value, value))
    return in_language(str(value)) if isinstance(field, models.DecimalField) else str(value)


def field_of(record: models.Model, column: str) -> models.Field[object, object] | None:
    try:
        field = record._meta.get_field(column)
    except FieldDoesNotExist:
        return None
    return field if isinstance(field, models.Field) else None
