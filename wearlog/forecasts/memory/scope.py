"""The data that the due items of one press depend on: a reduced record, and a fingerprint of its content.

The items of a press are computed from its scope alone, so that they can't change while its fingerprint stays
the same.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from hashlib import blake2b

from wearlog.history.record import Record
from wearlog.history.rows import ReadingColumns, RunColumns


@dataclass(frozen=True, eq=False)
class Scope:
    """parts: those in service whose last fitting was on the press. record: all data on the press and on these
    parts, including other presses on which they have worked before."""

    press_id: int
    parts: frozenset[int]
    record: Record

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


def scopes_of(record: Record) -> dict[int, Scope]:
    """The scope of every press."""
    parts: dict[int, set[int]] = {press: set() for press in record.presses}
    presses: dict[int, set[int]] = {press: {press} for press in record.presses}
    for part_id, fittings in record.fittings_of.items():
        if record.parts[part_id].retired_on is None:
            last = record.positions[fittings[-1].position_id].press_id
            parts[last].add(part_id)
            presses[last].update(record.positions[row.position_id].press_id for row in fittings)
    return {
        press: Scope(press, frozenset(parts[press]), _narrowed(record, presses[press], parts[press]))
        for press in record.presses
    }


def _narrowed(record: Record, presses: set[int], parts: set[int]) -> Record:
    return record.narrowed(
        presses,
        fittings=tuple(
            row
            for row in record.fittings
            if row.part_id in parts or record.positions[row.position_id].press_id in presses
        ),
        services=tuple(row for row in record.services if row.press_id in presses or row.part_id in parts),
        measurements=tuple(row for row in record.measurements if row.part_id in parts),
    )
