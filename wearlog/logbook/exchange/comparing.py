"""Comparing a logbook with what is stored: which rows are new, the same, fill in empty values, or
conflict."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import tzinfo

from django.db.models import Model, QuerySet

from wearlog.logbook.exchange.checking import Rows
from wearlog.logbook.exchange.columns import Column, Table
from wearlog.logbook.exchange.problems import Conflict
from wearlog.logbook.exchange.references import in_batches

VOIDED, STANDING = 1, 2
CHUNK = 2_000
FEW = 4
"""With fewer rows than a fourth of what is stored, they are looked up by key; else everything stored is read
once."""


@dataclass
class Change:
    """A stored record for which the logbook has additional or different values."""

    row: int
    pk: int
    voided: bool
    filled: dict[str, tuple[object, object]] = field(default_factory=dict)
    other: dict[str, tuple[object, object]] = field(default_factory=dict)

    @property
    def in_conflict(self) -> bool:
        return self.voided or bool(self.other)


@dataclass
class Comparison:
    """The result of comparing the rows of one table with what is stored."""

    rows: Rows
    new: list[int] = field(default_factory=list)
    same: list[int] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    stored: dict[int, tuple[object, ...]] = field(default_factory=dict)
    """The stored values under the key of a row, in the order of the columns; kept only where the row differs
    from them or leaves some of them out."""

    def conflicts(self, zone: tzinfo) -> Iterator[Conflict]:
        table = self.rows.table
        for change in self.changes:
            line = self.rows.lines[change.row]
            key = key_in_words(self.rows, change.row, zone)
            if change.voided:
                yield Conflict(table.file, line, key, "", "", "")
            for name, (here, there) in change.other.items():
                form = table.by_name[name].form
                here, there = (
                    form.write(value, zone) if value not in (None, "") else "" for value in (here, there)
                )
                yield Conflict(table.file, line, key, name, here, there)


def key_in_words(rows: Rows, row: int, zone: tzinfo) -> str:
    """The key of a row in words for people."""
    parts = (rows.table.by_name[name].form.write(rows.column(name)[row], zone) for name in rows.table.key)
    return " ".join(parts) or rows.table.name


def compare_table(rows: Rows, *, as_new: bool = False) -> Comparison:
    """Compare the rows that are not bad. `as_new`: treat all as new, since everything stored will be
    replaced.

    Stored records are read one at a time. Of records with the same key the one that is not voided counts,
    else the one voided last."""
    result = Comparison(rows)
    found = bytearray(len(rows))
    changes: dict[int, Change] = {}
    columns = [column for column in rows.table.columns if column.name in rows.values]
    places = {name: place for place, name in enumerate(rows.table.by_name)}
    left_out = [
        (places[column.name], column.empty) for column in rows.table.columns if column.name not in rows.values
    ]
    for row, pk, voided, values in stored_rows(rows) if rows.lines and not as_new else ():
        if found[row] == STANDING:
            continue
        found[row] = VOIDED if voided else STANDING
        changes.pop(row, None)
        change = Change(row, pk, voided)
        for column in columns:
            here, there = values[places[column.name]], rows.values[column.name][row]
            if here != there and not says_the_same(column, here, there):
                was_empty = here == column.empty and not column.empty_says_something
                kind = change.filled if was_empty else change.other
                kind[column.name] = (here, there)
        if change.in_conflict or change.filled:
            changes[row] = change
        if row in changes or any(values[place] != empty for place, empty in left_out):
            result.stored[row] = values
    result.changes = [changes[row] for row in sorted(changes)]
    result.new = [row for row, state in enumerate(found) if not state and row not in rows.bad]
    result.same = [row for row, state in enumerate(found) if state and row not in changes]
    return result


def says_the_same(column: Column, here: object, there: object) -> bool:
    return column.same_as_empty is not None and {here, there} == {None, column.same_as_empty}


def stored_rows(rows: Rows) -> Iterator[tuple[int, int, bool, tuple[object, ...]]]:
    """For each stored record with the key of a good row: the row number, the record's id, whether it is
    voided, and its values in the order of the columns. Of voided records with the same key the one voided
    last comes last."""
    table = rows.table
    if not table.records.exists():
        return
    names = list(table.by_name)
    key_places = [names.index(name) for name in table.key]
    row_of = {key: row for row, key in enumerate(rows.keys()) if row not in rows.bad}
    voided_at = ("voided_at",) if table.has_voids else ()
    for records in candidates(rows):
        if table.has_voids:
            records = records.order_by("voided_at", "pk")
        stored = records.values_list("pk", *table.queries, *voided_at)
        for pk, *values in stored.iterator(chunk_size=CHUNK):
            voided = bool(voided_at) and values.pop() is not None
            row = row_of.get(tuple(values[place] for place in key_places))
            if row is not None:
                yield row, pk, voided, tuple(values)


def candidates(rows: Rows) -> Iterator[QuerySet[Model]]:
    """Querysets of the stored records that may have the keys of the rows."""
    table: Table = rows.table
    records = table.records.all()
    if not table.key:
        yield records
        return
    keys = [key for row, key in enumerate(rows.keys()) if row not in rows.bad]
    if len(keys) * FEW > records.count():
        yield records
        return
    first, last = (table.by_name[name].query for name in (table.key[0], table.key[-1]))
    for batch in in_batches(sorted({key[:1] for key in keys})):
        chosen = records.filter(**{f"{first}__in": [value for (value,) in batch]})
        if len(table.key) > 1:
            (least,), (most,) = min(key[-1:] for key in keys), max(key[-1:] for key in keys)
            chosen = chosen.filter(**{f"{last}__gte": least, f"{last}__lte": most})
        yield chosen
