"""A run as entered on a page, a sheet, a phone or the command line: plain values in metric units."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal


@dataclass(frozen=True, kw_only=True)
class NewRun:
    """A run to log. Give `meter_h` (a reading is stored and the hours are derived from it), or `hours_h`, or
    `ended_at`; with none of them it is a run that goes on. `started_at` may be omitted if it follows from the
    hours and the end. `ref` is the entry's own id: the same ref sent twice is one run. `seed_how` is a value
    of SeedHow, empty where the seed was weighed; with "worked_out" `seed_kg` may be None, and is then worked
    out."""

    press_id: int
    crop_id: int
    seed_kg: Decimal | None
    started_at: datetime | None = None
    ended_at: datetime | None = None
    hours_h: Decimal | None = None
    meter_h: Decimal | None = None
    new_meter: bool = False
    ref: str = ""
    lot: str = ""
    oil_kg: Decimal | None = None
    cake_kg: Decimal | None = None
    foots_kg: Decimal | None = None
    through: str = ""
    moisture_pct: Decimal | None = None
    seed_oil_pct: Decimal | None = None
    cake_oil_pct: Decimal | None = None
    head_c: Decimal | None = None
    drive_hz: Decimal | None = None
    motor_a: Decimal | None = None
    energy_kwh: Decimal | None = None
    dirt: str = ""
    purge: bool = False
    done_by: str = ""
    note: str = ""
    seed_how: str = field(default="", metadata={"came_later": True})
    gap_mm: Decimal | None = field(default=None, metadata={"came_later": True})
