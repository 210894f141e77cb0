"""Work, gauges, incidents and crop changes as they are handed in: plain values in SI units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal


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
