"""The data that the due items of one press depend on: a reduced record, and a fingerprint of its content.

The items of a press are computed from its scope alone, so that they can't change while its fingerprint stays
the same.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, fields
from functools import cached_property
from hashlib import blake2b

from wearlog.forecasts.outlook import Outlook
from wearlog.history.by_press import ByPress
from wearlog.history.indexed import Indexed
from wearlog.history.record import Record
from wearlog.history.rows import (
    FittingRow,
    IncidentRow,
    MeasurementRow,
    PlanRow,
    PositionRow,
    ReadingColumns,
    RunColumns,
    ServiceRow,
)


@dataclass(frozen=True, eq=False)
class Scope:
    """parts: those in service whose last fitting was on the press. record: all data on the press and on these
    parts, including other presses on which they have worked before."""

    press_id: int
    parts: frozenset[int]
    record: Record

    @cached_property
    def outlook(self) -> Outlook:
        """What the press is expected to do. It stays the same while a gauge elsewhere changes what is learned
        about wear."""
        return Outlook(self.record)

    @cached_property
    def fingerprint(self) -> str:
        """A hexadecimal digest of the content."""
        whole = blake2b(digest_size=24)
        whole.update(repr((self.press_id, sorted(self.parts))).encode())
        for field in fields(self.record):
            value = getattr(self.record, field.name)
            if field.name in ("runs", "readings"):
                value = [(press, _digest(rows)) for press, rows in value.items()]
            whole.update(f"{field.name} {value!r}".encode())
        return whole.hexdigest()


def _digest(rows: RunColumns | ReadingColumns) -> str:
    return rows.digest


class Scopes(Mapping[int, Scope]):
    """The scope of every press, each cut out of the record when it is first asked for.

    known: scopes that are there from the start."""

    def __init__(self, record: Record, known: Mapping[int, Scope] | None = None) -> None:
        self.record = record
        self._scopes = ByPress(record.presses, self._make, known)

    def __getitem__(self, press_id: int) -> Scope:
        return self._scopes[press_id]

    def __iter__(self) -> Iterator[int]:
        return iter(self.record.presses)

    def __len__(self) -> int:
        return len(self.record.presses)

    @property
    def made(self) -> Mapping[int, Scope]:
        return self._scopes.made

    def parts(self, press_id: int) -> Collection[int]:
        """The parts whose items belong to a press: those in service whose last fitting was there."""
        return self._reach.get(press_id, ((), ()))[0]

    def reach(self, press_id: int) -> Collection[int]:
        """The presses on whose logs the items of a press depend; itself among them."""
        return self._reach.get(press_id, ((), {press_id}))[1]

    def _make(self, presses: list[int]) -> dict[int, Scope]:
        made = {}
        for press_id in presses:
            parts, where = self._reach.get(press_id, (set(), {press_id}))
            made[press_id] = Scope(press_id, frozenset(parts), self._narrowed(where, parts))
        return made

    def _narrowed(self, presses: set[int], parts: set[int]) -> Record:
        rows = self._rows
        return self.record.narrowed(
            presses,
            positions=rows.positions.where(presses),
            fittings=rows.fittings.where(parts, presses),
            services=rows.services.where(parts, presses),
            measurements=rows.measurements.where(parts),
            incidents=rows.incidents.where(presses),
            plan=rows.plan.where(presses),
        )

    @cached_property
    def _rows(self) -> _Rows:
        return _Rows.of(self.record)

    @cached_property
    def _reach(self) -> dict[int, tuple[set[int], set[int]]]:
        """By press: the parts in service whose last fitting was there, and all presses where they worked;
        itself among them."""
        found: dict[int, tuple[set[int], set[int]]] = {}
        for part_id, fittings in self.record.fittings_of.items():
            if self.record.parts[part_id].retired_on is None:
                last = self.record.positions[fittings[-1].position_id].press_id
                parts, presses = found.setdefault(last, (set(), {last}))
                parts.add(part_id)
                presses.update(self.record.positions[row.position_id].press_id for row in fittings)
        return found


@dataclass(frozen=True)
class _Rows:
    """The rows of a record by press; where rows name a part, by part and press."""

    positions: Indexed[PositionRow]
    fittings: Indexed[FittingRow]
    services: Indexed[ServiceRow]
    measurements: Indexed[MeasurementRow]
    incidents: Indexed[IncidentRow]
    plan: Indexed[PlanRow]

    @classmethod
    def of(cls, record: Record) -> _Rows:
        press_of = {pk: row.press_id for pk, row in record.positions.items()}
        return cls(
            positions=Indexed(tuple(record.positions.values()), lambda row: row.press_id),
            fittings=Indexed(record.fittings, lambda row: row.part_id, lambda row: press_of[row.position_id]),
            services=Indexed(record.services, lambda row: row.part_id, lambda row: row.press_id),
            measurements=Indexed(record.measurements, lambda row: row.part_id),
            incidents=Indexed(record.incidents, lambda row: row.press_id),
            plan=Indexed(record.plan, lambda row: row.press_id),
        )
