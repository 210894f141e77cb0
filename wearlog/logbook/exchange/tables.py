"""The files and columns of a logbook as data, from which import, export and documentation are derived: which
there are, and in which order."""

from __future__ import annotations

from wearlog.equipment.models import Fitting, Part, PartOrder, PartType, Position, Press
from wearlog.lockout.models import EnergySource
from wearlog.logbook.exchange.columns import Column, Table
from wearlog.people.models import Mill
from wearlog.runs.models import Crop, PlanEntry, Price, Reading, Run, SettledDoubt
from wearlog.service.models import Incident, Measurement, Rule, Service

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
            Column("came_with", "came_with__ref", refers="part_orders", came_later=True),
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
LATE = ("parts", "fittings", "rules", "services", "measurements")
"""Tables that refer to tables further down in the list above, directly or by way of another one."""
STORING_ORDER = (
    *(table for table in TABLES if table.name not in LATE),
    *(BY_NAME[name] for name in LATE),
)
