"""A mill as plain rows read by SQL, for answers to be reckoned again without the program's own reckoning."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import connection

Row = dict[str, object]


def rows(statement: str) -> list[Row]:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        names = [column[0] for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def number(value: object) -> float:
    return float(str(value))


def number_or_none(value: object) -> float | None:
    return None if value is None else number(value)


def instant(value: object) -> datetime:
    """As SQLite and PostgreSQL give it."""
    found = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
    return found if found.tzinfo else found.replace(tzinfo=UTC)


@dataclass
class Mill:
    """All that was recorded and not crossed out. Kilograms, hours, millimetres; instants as epoch seconds in
    `a` and `b` of runs and fittings; days by the mill's zone. `today` ends the record."""

    zone: ZoneInfo
    today: date
    presses: dict[object, Row] = field(default_factory=dict)
    positions: dict[object, Row] = field(default_factory=dict)
    types: dict[object, Row] = field(default_factory=dict)
    parts: dict[object, Row] = field(default_factory=dict)
    fittings: dict[object, list[Row]] = field(default_factory=lambda: defaultdict(list))
    """By part, in order of time."""
    runs: dict[object, list[Row]] = field(default_factory=lambda: defaultdict(list))
    """By press, in order of time; those that go on are not among them."""
    gauges: dict[tuple[object, object], list[Row]] = field(default_factory=lambda: defaultdict(list))
    """By part and edge."""
    services: list[Row] = field(default_factory=list)
    readings: dict[object, list[Row]] = field(default_factory=lambda: defaultdict(list))
    plan: list[Row] = field(default_factory=list)
    prices: dict[str, list[tuple[date, float]]] = field(default_factory=lambda: defaultdict(list))

    @property
    def end(self) -> float:
        """The instant at which today ends."""
        tomorrow = self.today + timedelta(days=1)
        return datetime(tomorrow.year, tomorrow.month, tomorrow.day, tzinfo=self.zone).timestamp()

    def day(self, stamp: float) -> date:
        return datetime.fromtimestamp(stamp, self.zone).date()

    def season(self, on: date) -> int:
        """The year in which the season began, on a first of July."""
        return on.year - (on.month < 7)

    def price(self, item: str, on: date) -> float | None:
        known = [each for begin, each in self.prices[item] if begin <= on]
        return known[-1] if known else None

    def barrels(self, press: object) -> list[str]:
        return sorted(
            {str(row["barrel"]) for row in self.positions.values() if row["press_id"] == press} - {""}
        )

    def through(self, run: Row, position: Row) -> float:
        """The share of a run's seed that went through a position."""
        barrel = str(position["barrel"])
        if not barrel:
            return 1.0 if position["share"] is None else number(position["share"])
        used = str(run["through"]).split() or self.barrels(position["press_id"])
        return (barrel in used) / len(used)

    def edges(self, part: Row) -> tuple[str, ...]:
        many = int(number(self.types[part["part_type_id"]]["edges"]))
        return ("A", "B", "C", "D")[:many] if many > 1 else ("",)

    def worked(self, fitting: Row) -> list[tuple[Row, float]]:
        """The runs of a fitting's press, each with the share of its time that lies within the fitting."""
        position = self.positions[fitting["position_id"]]
        first, last = number(fitting["a"]), number(fitting["b"])
        found = []
        for run in self.runs[position["press_id"]]:
            a, b = number(run["a"]), number(run["b"])
            within = (min(b, last) - max(a, first)) / (b - a) if b > a else float(first <= a < last)
            if within > 0:
                found.append((run, within))
        return found


def read(today: date) -> Mill:
    zone = ZoneInfo(str(rows("SELECT time_zone FROM people_mill")[0]["time_zone"]))
    mill = Mill(zone, today)
    for name, target in (
        ("press", mill.presses),
        ("position", mill.positions),
        ("parttype", mill.types),
        ("part", mill.parts),
    ):
        target.update({row["id"]: row for row in rows(f"SELECT * FROM equipment_{name}")})
    for row in rows("SELECT * FROM equipment_fitting WHERE voided_at IS NULL ORDER BY fitted_at"):
        removed = mill.end if row["removed_at"] is None else instant(row["removed_at"]).timestamp()
        mill.fittings[row["part_id"]].append(
            {**row, "a": instant(row["fitted_at"]).timestamp(), "b": removed}
        )
    for row in rows(
        "SELECT run.*, crop.code AS crop FROM runs_run run JOIN runs_crop crop ON crop.id = crop_id "
        "WHERE voided_at IS NULL AND ends_at IS NOT NULL ORDER BY started_at, run.id"
    ):
        a, b = instant(row["started_at"]).timestamp(), instant(row["ends_at"]).timestamp()
        hours = (b - a) / 3600 if row["hours_h"] is None else number(row["hours_h"])
        mill.runs[row["press_id"]].append({**row, "a": a, "b": b, "hours": hours, "day": mill.day(a)})
    for row in rows("SELECT * FROM service_measurement WHERE voided_at IS NULL ORDER BY measured_at, id"):
        mill.gauges[row["part_id"], row["edge"]].append(
            {**row, "at": instant(row["measured_at"]).timestamp()}
        )
    mill.services = [
        {**row, "at": instant(row["done_at"]).timestamp()}
        for row in rows("SELECT * FROM service_service WHERE voided_at IS NULL ORDER BY done_at, id")
    ]
    for row in rows("SELECT * FROM runs_reading WHERE voided_at IS NULL ORDER BY read_at, id"):
        mill.readings[row["press_id"]].append({**row, "at": instant(row["read_at"]).timestamp()})
    mill.plan = [
        {**row, "start": as_day(row["start_on"]), "end": as_day(row["end_on"])}
        for row in rows(
            "SELECT entry.*, crop.code AS crop FROM runs_planentry entry "
            "JOIN runs_crop crop ON crop.id = crop_id"
        )
    ]
    for row in rows("SELECT item, from_on, price FROM runs_price ORDER BY from_on"):
        mill.prices[str(row["item"])].append((as_day(row["from_on"]), number(row["price"])))
    return mill


def as_day(value: object) -> date:
    return value if isinstance(value, date) else date.fromisoformat(str(value)[:10])
