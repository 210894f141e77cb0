"""The kinds of records in the log: their name in URLs, their model, and the field with their time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Model
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Fitting
from wearlog.people.models import LogRecord
from wearlog.runs.models import Reading, Run, ShiftNote
from wearlog.service.models import Incident, Measurement, Service

if TYPE_CHECKING:
    from wearlog.people.fields import Words


@dataclass(frozen=True)
class RecordKind:
    """`when` is the field with the time, `press` the query path to the press, `related` what to load for a
    log line."""

    word: str
    label: Words
    model: type[LogRecord]
    when: str
    press: str
    related: tuple[str, ...]


KINDS: dict[str, RecordKind] = {
    kind.word: kind
    for kind in (
        RecordKind("run", _("Run"), Run, "started_at", "press", ("press", "crop", "entered_by")),
        RecordKind("reading", _("Meter reading"), Reading, "read_at", "press", ("press", "entered_by")),
        RecordKind(
            "work",
            _("Work"),
            Service,
            "done_at",
            "press",
            ("press", "position", "part__part_type", "rule", "entered_by", "crop_change__to_crop"),
        ),
        RecordKind(
            "measurement",
            _("Measurement"),
            Measurement,
            "measured_at",
            "service__press",
            ("part__part_type", "service__press", "entered_by"),
        ),
        RecordKind(
            "incident",
            _("Incident"),
            Incident,
            "happened_at",
            "press",
            ("press", "position", "hold", "entered_by"),
        ),
        RecordKind(
            "fitting",
            _("Fitting"),
            Fitting,
            "fitted_at",
            "position__press",
            ("part__part_type", "position__press", "entered_by"),
        ),
        RecordKind("note", _("Note"), ShiftNote, "written_at", "press", ("press", "entered_by")),
    )
}


def kind_of(record: Model) -> str:
    """The name of the record's kind in URLs. Raises KeyError for a record that is not part of the log."""
    for kind in KINDS.values():
        if type(record) is kind.model:
            return kind.word
    raise KeyError(type(record).__name__)
