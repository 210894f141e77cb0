"""The files and columns of a logbook as data, from which import, export and documentation are derived.

This defines which files and columns there are, and in which order. How a cell is written, which words and
limits it has and whether it may be empty follow from the models.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from django.db import models

from wearlog.equipment.models import Fitting, Part, PartOrder, PartType, Position, Press
from wearlog.lockout.models import EnergySource
from wearlog.logbook.exchange.cells import Code, Day, Form, Instant, Number, Tags, Text, WholeNumber, YesNo
from wearlog.people import fields
from wearlog.people.models import LogRecord, Mill
from wearlog.runs.models import Crop, PlanEntry, Price, Reading, Run, SettledDoubt
from wearlog.service.models import Incident, Measurement, Rule, Service

TEXT, INSTANT = Text(), Instant()


def form_of(field: models.Field[object, object]) -> Form:
    """The Form for the cells of a model's field."""
    if isinstance(field, fields.Quantity):
        return Number(field.limits, field.unit)
    if isinstance(field, fields.Count | fields.SmallCount):
        return WholeNumber(field.limits)
    if isinstance(field, fields.Tags):
        return Tags(field.known)
    if isinstance(field, models.BooleanField):
        return YesNo()
    if isinstance(field, models.DateTimeField):
        return INSTANT
    if isinstance(field, models.DateField):
        return Day()
    if field.choices:
        return Code(tuple(value for value, _words in field.flatchoices if value))
    return TEXT


def field_of(model: type[models.Model], name: str) -> models.Field[object, object]:
    field = model._meta.get_field(name)
    assert isinstance(field, models.Field)
    return field


@dataclass(frozen=True)
class Column:
    """One column. It holds the model's field of its name, or the field that `path` (a query path) leads to.

    `refers` names the table whose key the cell holds. `stored` is False for a column that is only part of
    another column's key. `always`: the cell may not be empty although the model has a default.
    `same_as_empty`: a value that means the same as an empty cell. `came_later`: the column was added to the
    format later and is written only where some record has a value, so that exports of other logs stay byte
    for byte the same.
    """

    name: str
    path: str = ""
    refers: str = ""
    stored: bool = True
    always: bool = False
    same_as_empty: object = None
    came_later: bool = False
    model: type[models.Model] = models.Model

    @cached_property
    def query(self) -> str:
        return self.path or self.name

    @cached_property
    def own_field(self) -> models.Field[object, object]:
        """The field of the table's model: the value itself, or the first step of the path."""
        return field_of(self.model, self.query.partition("__")[0])

    @cached_property
    def field(self) -> models.Field[object, object]:
        """The field whose value the cell holds."""
        first, *steps = self.query.split("__")
        found = field_of(self.model, first)
        for name in steps:
            assert found.related_model is not None
            found = field_of(found.related_model, name)
        return found

    @cached_property
    def form(self) -> Form:
        return form_of(self.field)

    @cached_property
    def required(self) -> bool:
        return self.always or not (self.own_field.blank or self.own_field.has_default())

    @cached_property
    def attribute(self) -> str | None:
        """The record's attribute for the value (or for the id that it refers to); None where it has none."""
        return self.own_field.attname if self.stored else None

    @cached_property
    def empty(self) -> object:
        """The value of an empty cell: the model's default, else "not known"."""
        if self.own_field.is_relation:
            return None
        if self.own_field.has_default():
            default = self.own_field.get_default()
            return getattr(default, "value", default)
        return self.form.empty

    @cached_property
    def empty_says_something(self) -> bool:
        """Whether an empty cell means a definite value, as for a reading's kind."""
        return self.empty not in (None, "", False)

    @cached_property
    def longest(self) -> int | None:
        """The largest number of characters that the database stores; None where there is no limit."""
        return self.field.max_length if isinstance(self.field, models.CharField) else None


@dataclass(frozen=True)
class Table:
    """One file. `key` names the columns that identify a record; `entries` lists all columns in order, as
    plain names where the defaults of Column suffice. A field of the model that is neither listed there nor
    `left_out` is a column that came later, behind the others. `came_later`: the file was added to the format
    later and is written only where there is a record."""

    name: str
    model: type[models.Model]
    key: tuple[str, ...]
    entries: tuple[Column | str, ...]
    left_out: tuple[str, ...] = ()
    came_later: bool = False

    @cached_property
    def columns(self) -> tuple[Column, ...]:
        listed = tuple(Column(each) if isinstance(each, str) else each for each in self.entries)
        held = {column.query.partition("__")[0] for column in listed}
        later = [
            Column(name, came_later=True)
            for name in fields.stated(self.model)
            if name not in held and name not in self.left_out
        ]
        found = tuple(replace(column, model=self.model) for column in (*listed, *later))
        for column in found:
            if column.own_field.is_relation and not column.refers:
                raise LookupError(
                    f"{self.file}: {column.name} refers to another record. List it in `entries` with the "
                    "path to the key of that record, and the table that it `refers` to."
                )
        return found

    @cached_property
    def file(self) -> str:
        return f"{self.name}.csv"

    @cached_property
    def by_name(self) -> dict[str, Column]:
        return {column.name: column for column in self.columns}

    @cached_property
    def has_voids(self) -> bool:
        return issubclass(self.model, LogRecord)

    @cached_property
    def queries(self) -> tuple[str, ...]:
        return tuple(column.query for column in self.columns)

    @property
    def records(self) -> models.QuerySet[models.Model]:
        return self.model._default_manager.all()


PRESS = Column("press", "press__code", refers="presses")
CROP = Column("crop", "crop__code", refers="crops")
POSITION = Column("position", "position__name", refers="positions")
PART = Column("part", "part__code", refers="parts")

FIRST_TRIGGERS = ["every_h", "every_kg", "every_days", "after_crop", "at_limit", "on_drift", "after_incident"]
"""The triggers of the first version of the format; columns of newer ones follow all others, and only where a
rule has one."""


def trigger_column(name: str) -> Column:
    path = f"{name}__code" if Rule._meta.get_field(name).is_relation else ""
    return Column(name, path, "crops" if path else "", came_later=name not in FIRST_TRIGGERS)


TABLES = (
    Table(
        "mill",
        Mill,
        (),
        ("name", Column("time_zone", always=True), "currency", "units"),
        left_out=("language",),
    ),
    Table(
        "presses",
        Press,
        ("press",),
        (
            Column("press", "code"),
            "name",
            "maker",
            "model",
            "serial",
            "commissioned_on",
            "retired_on",
            "hours_from",
            "note",
        ),
    ),
    Table(
        "positions",
        Position,
        ("press", "position"),
        (PRESS, Column("position", "name"), "kind", "barrel", Column("share", same_as_empty=1), "note"),
    ),
    Table(
        "crops",
        Crop,
        ("crop",),
        (Column("crop", "code"), "bushel_kg", "note"),
    ),
    Table(
        "part_types",
        PartType,
        ("part_type",),
        (
            Column("part_type", "code"),
            "kind",
            "size_mm",
            Column("edges", always=True),
            "for_crops",
            "dimension",
            "new_mm",
            "limit_mm",
            "expected_life_kg",
            "expected_life_h",
            "lead_time_days",
            "unit_cost",
            "min_spares",
            "note",
        ),
    ),
    Table(
        "parts",
        Part,
        ("part",),
        (
            Column("part", "code"),
            Column("part_type", "part_type__code", refers="part_types"),
            "acquired_on",
            "retired_on",
            "retired_because",
            Column("made_from", "made_from__code", refers="parts"),
            "note",
        ),
    ),
    Table(
        "fittings",
        Fitting,
        ("part", "fitted_at"),
        (
            PART,
            "edge",
            Column("press", "position__press__code", refers="presses", stored=False),
            Column("position", "position__name", refers="positions"),
            "fitted_at",
            "removed_at",
        ),
    ),
    Table(
        "runs",
        Run,
        ("ref",),
        (
            "ref",
            PRESS,
            CROP,
            "lot",
            "started_at",
            "ended_at",
            "hours_h",
            "seed_kg",
            "oil_kg",
            "cake_kg",
            "foots_kg",
            "through",
            "moisture_pct",
            "seed_oil_pct",
            "cake_oil_pct",
            "head_c",
            "drive_hz",
            "motor_a",
            "energy_kwh",
            "dirt",
            "purge",
            "done_by",
            "note",
        ),
    ),
    Table(
        "readings",
        Reading,
        ("press", "read_at"),
        (PRESS, "read_at", "meter_h", "kind"),
    ),
    Table(
        "services",
        Service,
        ("ref",),
        (
            "ref",
            "done_at",
            PRESS,
            POSITION,
            PART,
            "edge",
            "action",
            "finding",
            Column("rule", "rule__code", refers="rules"),
            "downtime_h",
            "labour_h",
            "cost",
            "done_by",
            "note",
        ),
    ),
    Table(
        "measurements",
        Measurement,
        ("ref",),
        (
            "ref",
            "measured_at",
            PART,
            "edge",
            "value_mm",
            "place",
            "bound",
            Column("service", "service__ref", refers="services"),
            "phase",
            "gauge",
            "note",
        ),
    ),
    Table(
        "incidents",
        Incident,
        ("ref",),
        ("ref", "happened_at", PRESS, POSITION, "kind", "note"),
    ),
    Table(
        "rules",
        Rule,
        ("rule",),
        (
            Column("rule", "code"),
            "action",
            "kind",
            Column("part_type", "part_type__code", refers="part_types"),
            PRESS,
            "position",
            *(trigger_column(name) for name in FIRST_TRIGGERS),
            "lead_days",
            "instructions",
            *(trigger_column(name) for name in Rule.TRIGGERS if name not in FIRST_TRIGGERS),
        ),
    ),
    Table(
        "plan",
        PlanEntry,
        ("press", "crop", "start_on"),
        (PRESS, CROP, "start_on", "end_on", "seed_kg", "planned_on"),
    ),
    Table(
        "energy_sources",
        EnergySource,
        ("press", "source"),
        (PRESS, "source", "kind", "isolate_at", "release_by", "verify_by"),
    ),
    Table(
        "prices",
        Price,
        ("item", "from_on"),
        ("item", "from_on", "price"),
    ),
    Table(
        "part_orders",
        PartOrder,
        ("ref",),
        (
            "ref",
            Column("part_type", "part_type__code", refers="part_types"),
            "count",
            "ordered_on",
            "expected_on",
            "arrived_on",
            "supplier",
            "note",
        ),
        came_later=True,
    ),
    Table(
        "settled_doubts",
        SettledDoubt,
        ("press", "cause", "at"),
        (PRESS, "cause", "at", "accepted", "settled_at"),
        left_out=("settled_by",),
        came_later=True,
    ),
)

BY_NAME = {table.name: table for table in TABLES}
BY_FILE = {table.file: table for table in TABLES}
LATE = ("rules", "services", "measurements")
"""Tables that refer to tables further down in the list above."""
STORING_ORDER = (
    *(table for table in TABLES if table.name not in LATE),
    *(BY_NAME[name] for name in LATE),
)
