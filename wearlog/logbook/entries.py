"""What a page, a sheet, a phone's queue or a command hands in: plain values, already in SI units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal


@dataclass(frozen=True, kw_only=True)
class NewRun:
    """A run to log. Give `meter_h` (a reading is written and the hours follow from it), or `hours_h`,
    or `ended_at`; give none and it is a run that goes on. `started_at` may be left out where the
    hours and the end tell it. `ref` is the entry's own id; the same ref sent twice is one run."""

    press_id: int
    crop_id: int
    seed_kg: Decimal
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


@dataclass(frozen=True, kw_only=True)
class NewMeasurement:
    """A gauge value on the part that the work is about."""

    value_mm: Decimal
    place: str = ""
    bound: str = ""
    phase: str = ""
    gauge: str = ""
    note: str = ""
    ref: str = ""


@dataclass(frozen=True, kw_only=True)
class NewWork:
    """Work that was done. Part and edge are taken from `fitting_id` where it is given.

    `flip` moves the fitting to `to_edge` (or the next unused edge); `replace` takes the part off and fits
    `new_part_id` on `new_edge`. `expected_fitting_id` is what the person had in front of them: where
    another phone has moved the part since, the whole entry is refused with `AlreadyMoved`.
    """

    press_id: int
    action: str
    done_at: datetime
    position_id: int | None = None
    expected_fitting_id: int | None = None
    part_id: int | None = None
    edge: str = ""
    to_edge: str = ""
    new_part_id: int | None = None
    new_edge: str = ""
    old_part_retired_because: str = ""
    rule_id: int | None = None
    finding: str = ""
    downtime_h: Decimal | None = None
    labour_h: Decimal | None = None
    cost: Decimal | None = None
    done_by: str = ""
    note: str = ""
    ref: str = ""
    measurements: Sequence[NewMeasurement] = field(default_factory=tuple)


@dataclass(frozen=True, kw_only=True)
class NewIncident:
    press_id: int
    kind: str
    happened_at: datetime
    position_id: int | None = None
    lot: str = ""
    note: str = ""
    ref: str = ""


@dataclass(frozen=True, kw_only=True)
class NewCropChange:
    """The signed cleaning record between two crops; it is logged as a `clean` service too."""

    press_id: int
    done_at: datetime
    to_crop_id: int
    signed_by: str
    from_crop_id: int | None = None
    purge_kg: Decimal | None = None
    finding: str = ""
    note: str = ""
    ref: str = ""
