"""The rows of a record as frozen dataclasses. Instants are seconds since 1970 in UTC."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

from wearlog.runs.columns import Flags, Floats, Ints, digest_of
from wearlog.runs.hours import ReadingColumns
from wearlog.service.triggers import TriggerValue

__all__ = ["Flags", "Floats", "Ints", "ReadingColumns"]

ABOUT, WORKED_OUT = 1, 2


@dataclass(frozen=True)
class PressRow:
    id: int
    code: str
    name: str
    commissioned_on: date | None
    retired_on: date | None
    by_meter: bool

    @property
    def label(self) -> str:
        return self.name or self.code


@dataclass(frozen=True)
class PositionRow:
    id: int
    press_id: int
    name: str
    kind: str
    barrel: str
    share: float


@dataclass(frozen=True)
class TypeRow:
    id: int
    code: str
    kind: str
    size_mm: float | None
    edges: int
    for_crops: tuple[str, ...]
    new_mm: float | None
    limit_mm: float | None
    expected_life_kg: float | None
    expected_life_h: float | None

    @property
    def edge_names(self) -> tuple[str, ...]:
        return ("A", "B", "C", "D")[: self.edges] if self.edges > 1 else ("",)


@dataclass(frozen=True)
class PartRow:
    id: int
    code: str
    type_id: int
    retired_on: date | None
    retired_because: str
    used_h: float = 0.0
    """Hours worked before this log; 0 where not known, as in `used_kg`."""
    used_kg: float = 0.0
    used_on: date | None = None
    """The day on whose morning those stood; None: they were done before the first fitting."""


@dataclass(frozen=True)
class FittingRow:
    """`removed` is None while the part is in place at the end of the as-of day."""

    id: int
    part_id: int
    edge: str
    position_id: int
    fitted: float
    removed: float | None


@dataclass(frozen=True)
class ServiceRow:
    id: int
    done: float
    press_id: int
    position_id: int | None
    part_id: int | None
    edge: str
    action: str
    rule_id: int | None
    finding: str


@dataclass(frozen=True)
class MeasurementRow:
    id: int
    measured: float
    part_id: int
    edge: str
    value_mm: float
    place: str
    bound: str
    service_id: int | None
    phase: str


@dataclass(frozen=True)
class IncidentRow:
    id: int
    happened: float
    press_id: int
    position_id: int | None
    kind: str


@dataclass(frozen=True)
class RuleRow:
    id: int
    code: str
    action: str
    kind: str
    type_id: int | None
    press_id: int | None
    position: str
    triggers: Mapping[str, TriggerValue] = field(hash=False)
    """The rule's value for each of its triggers, by column name; a crop is its index in the record."""
    lead_days: float
    instructions: str
    named_only: bool = False
    """Only work that names the rule counts for it: other inspections don't replace the yearly one."""


@dataclass(frozen=True)
class PlanRow:
    press_id: int
    crop: int
    start_on: date
    end_on: date
    seed_kg: float
    planned_on: date | None


@dataclass(frozen=True, eq=False)
class RunColumns:
    """The ended runs of one press, in order of their starts; shape (n,) each."""

    id: Ints
    start: Floats
    end: Floats
    recorded_h: Floats
    """NaN where no hours were written down."""
    seed_kg: Floats
    crop: Ints
    slot: Ints
    through: tuple[str, ...] | None
    """The barrels of each run; None where every run used all barrels."""
    drive_hz: Floats
    moisture_pct: Floats
    """NaN where not known, as in `drive_hz`."""
    purge: Flags
    seed_how: Ints
    """0 where the seed was weighed or counted, else `ABOUT` (estimated) or `WORKED_OUT` (calculated)."""
    going_on: Floats
    """The starts of runs that had not ended, and their slots; shape (k,) each. These runs don't count yet."""
    slot_going_on: Ints

    @cached_property
    def digest(self) -> str:
        return digest_of(vars(self))

    def tell_output(self, hours: Floats) -> Flags:
        """Whether each run tells what the press puts through in an hour. Runs that cleaned the press (purge),
        runs without hours, and runs whose seed was guessed or worked out do not. `hours`: those of each run,
        shape (n,)."""
        told: Flags = ~self.purge & (hours > 0) & (self.seed_how == 0)
        return told
