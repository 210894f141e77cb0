"""Work, gauges, incidents and crop changes as entered: plain values in metric units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal


@dataclass(frozen=True, kw_only=True)
class NewMeasurement:
    """A gauge reading of the part that was worked on."""

    value_mm: Decimal
    place: str = ""
    bound: str = ""
    phase: str = ""
    gauge: str = ""
    note: str = ""
    ref: str = ""


@dataclass(frozen=True, kw_only=True)
class NewWork:
    """Work that was done. Part and edge are taken from `expected_fitting_id` if that is given.

    `flip` moves the fitting to `to_edge` (or the next unused edge); `replace` takes the part off and fits
    `new_part_id` on `new_edge`. `expected_fitting_id` is the fitting that the person saw: if another phone
    has moved the part since, the whole entry is refused with `AlreadyMoved`.
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
    """The signed record of cleaning between two crops; it is also logged as a `clean` service.

    `works` is what was done in the same stop, such as the change of the die and the look at the screw: each
    at this press and at `done_at`. They are stored with it or not at all, under refs made from its own."""

    press_id: int
    done_at: datetime
    to_crop_id: int
    signed_by: str
    from_crop_id: int | None = None
    purge_kg: Decimal | None = None
    finding: str = ""
    note: str = ""
    ref: str = ""
    works: tuple[NewWork, ...] = field(default=(), metadata={"came_later": True})
    purge_h: Decimal | None = field(default=None, metadata={"came_later": True})
