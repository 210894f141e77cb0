"""Logbooks for tests: a small one to spoil, writing one to a folder, and comparing two by content.

The reading here is on purpose another than the program's: plain `csv`, types told from the column's name.
"""

from __future__ import annotations

import contextlib
import csv
import io
import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

from django.db import transaction

Row = Mapping[str, str]
Tables = Mapping[str, Sequence[Row]]

KEYS = {
    "mill": (),
    "presses": ("press",),
    "positions": ("press", "position"),
    "crops": ("crop",),
    "part_types": ("part_type",),
    "parts": ("part",),
    "fittings": ("part", "fitted_at"),
    "runs": ("ref",),
    "readings": ("press", "read_at"),
    "services": ("ref",),
    "measurements": ("ref",),
    "incidents": ("ref",),
    "rules": ("rule",),
    "plan": ("press", "crop", "start_on"),
    "energy_sources": ("press", "source"),
    "prices": ("item", "from_on"),
}
NUMBER = re.compile(r".*_(kg|h|mm|c|hz|a|kwh|pct|days)|every_.*|share|unit_cost|cost|min_spares|edges|price")
INSTANTS = {
    "fitted_at",
    "removed_at",
    "started_at",
    "ended_at",
    "read_at",
    "done_at",
    "measured_at",
    "happened_at",
}
MEANT = {("positions", "share"): Decimal(1), ("readings", "kind"): "reading"}
"""What an empty cell means where that is a value."""


def packed(**files: str) -> bytes:
    """An archive of files by name, without their `.csv`."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in files.items():
            made.writestr(f"{name}.csv", content)
    return stream.getvalue()


def small_book() -> dict[str, list[dict[str, str]]]:
    """A twin and a single press, with one row at least in every file."""
    return {
        "mill": [{"name": "Test mill", "time_zone": "Europe/Vienna", "currency": "EUR", "units": "metric"}],
        "presses": [{"press": "P1", "name": "North"}, {"press": "P2", "name": "Twin"}],
        "positions": [
            {"press": "P1", "position": "screw", "kind": "screw"},
            {"press": "P1", "position": "die", "kind": "die"},
            {"press": "P2", "position": "left die", "kind": "die", "barrel": "left", "share": "0.5"},
            {"press": "P2", "position": "right die", "kind": "die", "barrel": "right", "share": "0.5"},
        ],
        "crops": [{"crop": "rapeseed", "bushel_kg": "22.68"}, {"crop": "sunflower"}],
        "part_types": [
            {
                "part_type": "D5",
                "kind": "die",
                "edges": "2",
                "for_crops": "rapeseed",
                "new_mm": "5",
                "limit_mm": "5.4",
            },
            {"part_type": "SC", "kind": "screw", "edges": "1", "new_mm": "60", "limit_mm": "59"},
        ],
        "parts": [
            {"part": "D5-01", "part_type": "D5", "acquired_on": "2025-07-01"},
            {"part": "D5-02", "part_type": "D5", "made_from": "D5-01"},
            {
                "part": "S-01",
                "part_type": "SC",
                "used_h": "1950.5",
                "used_kg": "24500",
                "used_on": "2025-08-01",
            },
        ],
        "fittings": [
            {
                "part": "D5-01",
                "edge": "A",
                "press": "P1",
                "position": "die",
                "fitted_at": "2025-08-01T08:00:00+02:00",
                "removed_at": "2025-09-01T08:00:00+02:00",
            },
            {
                "part": "D5-01",
                "edge": "B",
                "press": "P1",
                "position": "die",
                "fitted_at": "2025-09-01T08:00:00+02:00",
            },
            {"part": "S-01", "press": "P1", "position": "screw", "fitted_at": "2025-08-01T07:00:00+02:00"},
        ],
        "runs": [
            {
                "ref": "r1",
                "press": "P1",
                "crop": "rapeseed",
                "started_at": "2025-08-04T06:00:00+02:00",
                "ended_at": "2025-08-04T18:00:00+02:00",
                "hours_h": "11.5",
                "seed_kg": "180.5",
                "oil_kg": "58",
            },
            {
                "ref": "r2",
                "press": "P1",
                "crop": "rapeseed",
                "started_at": "2025-08-05T06:00:00+02:00",
                "hours_h": "12",
                "seed_kg": "190",
                "purge": "yes",
                "note": "-1 bag, said Ada",
            },
            {
                "ref": "r3",
                "press": "P2",
                "crop": "rapeseed",
                "started_at": "2025-08-05T06:00:00+02:00",
                "hours_h": "12",
                "seed_kg": "95",
                "through": "left",
            },
            {
                "ref": "r4",
                "press": "P2",
                "crop": "sunflower",
                "started_at": "2025-08-05T07:00:00+02:00",
                "hours_h": "10",
                "seed_kg": "80",
                "through": "right",
            },
        ],
        "readings": [
            {"press": "P1", "read_at": "2025-08-04T05:55:00+02:00", "meter_h": "1200.1", "kind": "reading"},
            {"press": "P1", "read_at": "2025-08-06T05:55:00+02:00", "meter_h": "0", "kind": "new_meter"},
        ],
        "services": [
            {
                "ref": "s1",
                "done_at": "2025-09-01T08:00:00+02:00",
                "press": "P1",
                "position": "die",
                "part": "D5-01",
                "edge": "A",
                "action": "flip",
                "rule": "die at limit",
            },
            {
                "ref": "s2",
                "done_at": "2025-09-02T08:00:00+02:00",
                "press": "P1",
                "part": "S-01",
                "action": "polish",
            },
        ],
        "measurements": [
            {
                "ref": "m1",
                "measured_at": "2025-09-01T07:50:00+02:00",
                "part": "D5-01",
                "edge": "A",
                "value_mm": "5.38",
                "gauge": "calliper",
            },
            {
                "ref": "m2",
                "measured_at": "2025-09-02T07:50:00+02:00",
                "part": "S-01",
                "value_mm": "59.91",
                "service": "s2",
                "phase": "before",
                "place": "flight 1",
            },
        ],
        "incidents": [
            {
                "ref": "i1",
                "happened_at": "2025-08-20T10:00:00+02:00",
                "press": "P1",
                "position": "die",
                "kind": "plugged",
            }
        ],
        "rules": [
            {"rule": "die at limit", "action": "flip", "kind": "die", "at_limit": "yes", "lead_days": "7"},
            {
                "rule": "after trouble",
                "action": "inspect",
                "press": "P1",
                "position": "screw",
                "after_incident": "metal plugged",
            },
        ],
        "plan": [
            {
                "press": "P1",
                "crop": "rapeseed",
                "start_on": "2026-08-01",
                "end_on": "2026-10-20",
                "seed_kg": "14000",
            }
        ],
        "energy_sources": [
            {"press": "P1", "source": "mains", "kind": "electrical", "isolate_at": "wall isolator"}
        ],
        "prices": [{"item": "oil_kg", "from_on": "2025-07-01", "price": "3.1"}],
    }


def write_book(folder: Path, tables: Tables) -> Path:
    """Write only the columns that a table's rows name, and no file for a table without rows."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        if not rows:
            continue
        columns = list(dict.fromkeys(column for row in rows for column in row))
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, columns, restval="", lineterminator="\r\n")
            writer.writeheader()
            writer.writerows(rows)
    return folder


def content(folder: Path, zone: str = "UTC") -> dict[str, dict[tuple[object, ...], dict[str, object]]]:
    """What a logbook says: table -> key -> column -> value, without anything that is empty."""
    tables: dict[str, dict[tuple[object, ...], dict[str, object]]] = {}
    if (folder / "mill.csv").exists():
        rows = read(folder / "mill.csv")
        zone = rows[0]["time_zone"] if rows else zone
    for name, key in KEYS.items():
        path = folder / f"{name}.csv"
        rows = read(path) if path.exists() else []
        told = [{column: value_of(name, column, cell, zone) for column, cell in row.items()} for row in rows]
        tables[name] = {
            tuple(row[column] for column in key): {
                column: value
                for column, value in row.items()
                if value is not None and value != MEANT.get((name, column))
            }
            for row in told
        }
    return tables


def read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


def value_of(table: str, column: str, cell: str, zone: str) -> object:
    if not cell:
        return None
    if column in INSTANTS:
        moment = datetime.fromisoformat(cell)
        return (moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))).astimezone(UTC)
    if NUMBER.fullmatch(column):
        return Decimal(cell)
    return cell[1:] if cell[0] == "'" and cell[1:2] and cell[1] in "=+-@'\t\r" else cell


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


class Undone(Exception):
    pass


@contextlib.contextmanager
def undone() -> Iterator[None]:
    """Whatever is stored inside is gone afterwards: an empty database again and again within one test."""
    with contextlib.suppress(Undone), transaction.atomic():
        yield
        raise Undone
