"""The files and columns of a logbook as data: one place that import, export and documents follow."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.db import models

from wearlog.equipment.models import (
    EDGES,
    Fitting,
    HoursFrom,
    Kind,
    Part,
    PartType,
    Position,
    Press,
    RetiredBecause,
)
from wearlog.lockout.models import EnergyKind, EnergySource
from wearlog.logbook.exchange.cells import Code, Day, Form, Instant, Number, Tags, Text, Whole, Yes
from wearlog.people.models import LogRecord, Mill, Units
from wearlog.runs.models import Crop, Dirt, PlanEntry, Price, Reading, ReadingKind, Run, SeedHow
from wearlog.service.models import (
    TRIGGER_COLUMNS,
    Action,
    Bound,
    Incident,
    IncidentKind,
    Measurement,
    Phase,
    Rule,
    Service,
)
from wearlog.service.triggers import NUMBERS, Asks, TriggerColumn

TEXT, TAGS, YES, DAY, INSTANT = Text(), Tags(), Yes(), Day(), Instant()
ANY, NOT_NEGATIVE, POSITIVE, PERCENT = Number(), Number(least=0), Number(above=0), Number(least=0, most=100)
KIND, EDGE, ACTION = Code(tuple(Kind.values)), Code(EDGES), Code(tuple(Action.values))
INCIDENTS = tuple(IncidentKind.values)
FORM_OF: dict[Asks, Form] = {
    **dict.fromkeys(NUMBERS, POSITIVE),
    Asks.FLAG: YES,
    Asks.INCIDENTS: Tags(INCIDENTS),
}
"""How a file writes what a trigger asks for; a crop is written as its tag."""


@dataclass(frozen=True)
class Column:
    """One column. `path` leads to its value from the record, in the words of a query.

    `refers` names the table whose key the cell holds. `attribute` is where the value (or the id that it
    refers to) goes on the record; None for a column that is only part of another's key.
    `default` is the value of an empty cell where that is not "not known"; `same_as_empty` is a value that
    says no more than an empty cell does. What `came_later` than the format is written only where it says
    something, so that a log that doesn't use it keeps its bytes.
    """

    name: str
    form: Form
    path: str = ""
    required: bool = False
    refers: str = ""
    stored: bool = True
    default: object = None
    same_as_empty: object = None
    came_later: bool = False

    @cached_property
    def query(self) -> str:
        return self.path or self.name

    @cached_property
    def attribute(self) -> str | None:
        if not self.stored:
            return None
        relation, _, rest = self.query.partition("__")
        return f"{relation}_id" if rest else relation

    @cached_property
    def empty(self) -> object:
        """The value of an empty cell."""
        if self.default is not None:
            return self.default
        return None if "__" in self.query else self.form.empty


@dataclass(frozen=True)
class Table:
    """One file. `key` names the columns that tell a record from all others."""

    name: str
    model: type[models.Model]
    key: tuple[str, ...]
    columns: tuple[Column, ...]

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
    def records(self) -> models.QuerySet[Any]:
        return self.model._default_manager.all()

    def longest(self, column: Column) -> int | None:
        """How many characters the database takes; None where there is no limit."""
        field: Any = None
        model: Any = self.model
        for name in column.query.split("__"):
            field = model._meta.get_field(name)
            model = field.related_model
        return field.max_length if isinstance(field, models.CharField) else None

    def told(self, row: dict[str, object]) -> str:
        """The key as a person would say it."""
        return " ".join(str(row[name]) for name in self.key)


def required(name: str, form: Form, path: str = "", **more: Any) -> Column:
    return Column(name, form, path, required=True, **more)


def _trigger_column(trigger: TriggerColumn) -> Column:
    if trigger.asks is Asks.CROP:
        return Column(
            trigger.name, TEXT, f"{trigger.name}__code", refers="crops", came_later=trigger.came_later
        )
    return Column(trigger.name, FORM_OF[trigger.asks], came_later=trigger.came_later)


PRESS = required("press", TEXT, "press__code", refers="presses")
CROP = required("crop", TEXT, "crop__code", refers="crops")
POSITION = Column("position", TEXT, "position__name", refers="positions")
NOTE, DONE_BY = Column("note", TEXT), Column("done_by", TEXT)

TABLES = (
    Table(
        "mill",
        Mill,
        (),
        (
            required("name", TEXT),
            required("time_zone", TEXT),
            Column("currency", TEXT),
            Column("units", Code(tuple(Units.values))),
        ),
    ),
    Table(
        "presses",
        Press,
        ("press",),
        (
            required("press", TEXT, "code"),
            Column("name", TEXT),
            Column("maker", TEXT),
            Column("model", TEXT),
            Column("serial", TEXT),
            Column("commissioned_on", DAY),
            Column("retired_on", DAY),
            Column("hours_from", Code(tuple(HoursFrom.values))),
            NOTE,
        ),
    ),
    Table(
        "positions",
        Position,
        ("press", "position"),
        (
            PRESS,
            required("position", TEXT, "name"),
            required("kind", KIND),
            Column("barrel", TEXT),
            Column("share", Number(least=0, most=1), same_as_empty=1),
            NOTE,
        ),
    ),
    Table(
        "crops",
        Crop,
        ("crop",),
        (required("crop", TEXT, "code"), Column("bushel_kg", POSITIVE), NOTE),
    ),
    Table(
        "part_types",
        PartType,
        ("part_type",),
        (
            required("part_type", TEXT, "code"),
            required("kind", KIND),
            Column("size_mm", POSITIVE),
            required("edges", Whole(1, 4)),
            Column("for_crops", TAGS),
            Column("dimension", TEXT),
            Column("new_mm", ANY),
            Column("limit_mm", ANY),
            Column("expected_life_kg", POSITIVE),
            Column("expected_life_h", POSITIVE),
            Column("lead_time_days", NOT_NEGATIVE),
            Column("unit_cost", NOT_NEGATIVE),
            Column("min_spares", Whole()),
            NOTE,
        ),
    ),
    Table(
        "parts",
        Part,
        ("part",),
        (
            required("part", TEXT, "code"),
            required("part_type", TEXT, "part_type__code", refers="part_types"),
            Column("acquired_on", DAY),
            Column("retired_on", DAY),
            Column("retired_because", Code(tuple(RetiredBecause.values))),
            Column("made_from", TEXT, "made_from__code", refers="parts"),
            NOTE,
        ),
    ),
    Table(
        "fittings",
        Fitting,
        ("part", "fitted_at"),
        (
            required("part", TEXT, "part__code", refers="parts"),
            Column("edge", EDGE),
            required("press", TEXT, "position__press__code", refers="presses", stored=False),
            required("position", TEXT, "position__name", refers="positions"),
            required("fitted_at", INSTANT),
            Column("removed_at", INSTANT),
        ),
    ),
    Table(
        "runs",
        Run,
        ("ref",),
        (
            required("ref", TEXT),
            PRESS,
            CROP,
            Column("lot", TEXT),
            required("started_at", INSTANT),
            Column("ended_at", INSTANT),
            Column("hours_h", Number(least=0, most=100_000)),  # more would end beyond any calendar
            required("seed_kg", NOT_NEGATIVE),
            Column("oil_kg", NOT_NEGATIVE),
            Column("cake_kg", NOT_NEGATIVE),
            Column("foots_kg", NOT_NEGATIVE),
            Column("through", TAGS),
            Column("moisture_pct", PERCENT),
            Column("seed_oil_pct", PERCENT),
            Column("cake_oil_pct", PERCENT),
            Column("head_c", ANY),
            Column("drive_hz", NOT_NEGATIVE),
            Column("motor_a", NOT_NEGATIVE),
            Column("energy_kwh", NOT_NEGATIVE),
            Column("dirt", Code(tuple(Dirt.values))),
            Column("purge", YES),
            DONE_BY,
            NOTE,
            Column("seed_how", Code((SeedHow.ABOUT.value, SeedHow.WORKED_OUT.value)), came_later=True),
        ),
    ),
    Table(
        "readings",
        Reading,
        ("press", "read_at"),
        (
            PRESS,
            required("read_at", INSTANT),
            required("meter_h", NOT_NEGATIVE),
            Column("kind", Code(tuple(ReadingKind.values)), default=ReadingKind.READING.value),
        ),
    ),
    Table(
        "services",
        Service,
        ("ref",),
        (
            required("ref", TEXT),
            required("done_at", INSTANT),
            PRESS,
            POSITION,
            Column("part", TEXT, "part__code", refers="parts"),
            Column("edge", EDGE),
            required("action", ACTION),
            Column("finding", TEXT),
            Column("rule", TEXT, "rule__code", refers="rules"),
            Column("downtime_h", NOT_NEGATIVE),
            Column("labour_h", NOT_NEGATIVE),
            Column("cost", ANY),
            DONE_BY,
            NOTE,
        ),
    ),
    Table(
        "measurements",
        Measurement,
        ("ref",),
        (
            required("ref", TEXT),
            required("measured_at", INSTANT),
            required("part", TEXT, "part__code", refers="parts"),
            Column("edge", EDGE),
            required("value_mm", NOT_NEGATIVE),
            Column("place", TEXT),
            Column("bound", Code(tuple(Bound.values))),
            Column("service", TEXT, "service__ref", refers="services"),
            Column("phase", Code(tuple(Phase.values))),
            Column("gauge", TEXT),
            NOTE,
        ),
    ),
    Table(
        "incidents",
        Incident,
        ("ref",),
        (
            required("ref", TEXT),
            required("happened_at", INSTANT),
            PRESS,
            POSITION,
            required("kind", Code(INCIDENTS)),
            NOTE,
        ),
    ),
    Table(
        "rules",
        Rule,
        ("rule",),
        (
            required("rule", TEXT, "code"),
            required("action", ACTION),
            Column("kind", KIND),
            Column("part_type", TEXT, "part_type__code", refers="part_types"),
            Column("press", TEXT, "press__code", refers="presses"),
            Column("position", TEXT),
            *(_trigger_column(trigger) for trigger in TRIGGER_COLUMNS if not trigger.came_later),
            Column("lead_days", NOT_NEGATIVE),
            Column("instructions", TEXT),
            *(_trigger_column(trigger) for trigger in TRIGGER_COLUMNS if trigger.came_later),
        ),
    ),
    Table(
        "plan",
        PlanEntry,
        ("press", "crop", "start_on"),
        (
            PRESS,
            CROP,
            required("start_on", DAY),
            required("end_on", DAY),
            required("seed_kg", NOT_NEGATIVE),
            Column("planned_on", DAY),
        ),
    ),
    Table(
        "energy_sources",
        EnergySource,
        ("press", "source"),
        (
            PRESS,
            required("source", TEXT),
            required("kind", Code(tuple(EnergyKind.values))),
            Column("isolate_at", TEXT),
            Column("release_by", TEXT),
            Column("verify_by", TEXT),
        ),
    ),
    Table(
        "prices",
        Price,
        ("item", "from_on"),
        (required("item", TEXT), required("from_on", DAY), required("price", ANY)),
    ),
)

BY_NAME = {table.name: table for table in TABLES}
BY_FILE = {table.file: table for table in TABLES}
LATE = ("rules", "services", "measurements")
"""Tables that point to others further down in the list above."""
STORING_ORDER = (
    *(table for table in TABLES if table.name not in LATE),
    *(BY_NAME[name] for name in LATE),
)
