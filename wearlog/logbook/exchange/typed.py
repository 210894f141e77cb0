"""Columns whose values have a known type: the columns of a logbook are data, so whoever computes with the
values of one names their type."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar, overload

from wearlog.logbook.exchange.columns import Column, Table

A = TypeVar("A")
B = TypeVar("B")
C = TypeVar("C")
D = TypeVar("D")
E = TypeVar("E")
F = TypeVar("F")
Kind = TypeVar("Kind", covariant=True)


class Bad:
    def __repr__(self) -> str:
        return "BAD"


BAD = Bad()
"""The value of a cell that could not be read."""


@dataclass(frozen=True)
class Typed(Generic[Kind]):
    """The name of a column with the type of its values; `or_none`: an empty cell is None."""

    name: str
    kind: type[object]
    or_none: bool

    def see(self, column: Column) -> None:
        """Raise TypeError where the column of this name has values of another type."""
        none_too = column.empty is None and not column.required
        if not issubclass(column.form.kind, self.kind) or (none_too and not self.or_none):
            raise TypeError(f"The cells of {column.name} are not {self.kind.__name__}, or may be empty.")


def typed(name: str, kind: type[A]) -> Typed[A]:
    return Typed(name, kind, or_none=False)


def typed_or_none(name: str, kind: type[A]) -> Typed[A | None]:
    return Typed(name, kind, or_none=True)


class Readable(ABC):
    """Rows of a table that are read by columns."""

    @property
    @abstractmethod
    def of_table(self) -> Table: ...

    @property
    @abstractmethod
    def some_bad(self) -> bool:
        """Whether any cell may be BAD."""

    @property
    @abstractmethod
    def counted(self) -> Sequence[int]:
        """The numbers of the rows that count."""

    @abstractmethod
    def column(self, name: str) -> Sequence[object]:
        """The column's values for all rows of the file, by row number."""

    @overload
    def each(self, a: Typed[A], /, *, among: Sequence[int] | None = ...) -> Iterator[tuple[int, A]]: ...

    @overload
    def each(
        self, a: Typed[A], b: Typed[B], /, *, among: Sequence[int] | None = ...
    ) -> Iterator[tuple[int, A, B]]: ...

    @overload
    def each(
        self, a: Typed[A], b: Typed[B], c: Typed[C], /, *, among: Sequence[int] | None = ...
    ) -> Iterator[tuple[int, A, B, C]]: ...

    @overload
    def each(
        self, a: Typed[A], b: Typed[B], c: Typed[C], d: Typed[D], /, *, among: Sequence[int] | None = ...
    ) -> Iterator[tuple[int, A, B, C, D]]: ...

    @overload
    def each(
        self,
        a: Typed[A],
        b: Typed[B],
        c: Typed[C],
        d: Typed[D],
        e: Typed[E],
        /,
        *,
        among: Sequence[int] | None = ...,
    ) -> Iterator[tuple[int, A, B, C, D, E]]: ...

    @overload
    def each(
        self,
        a: Typed[A],
        b: Typed[B],
        c: Typed[C],
        d: Typed[D],
        e: Typed[E],
        f: Typed[F],
        /,
        *,
        among: Sequence[int] | None = ...,
    ) -> Iterator[tuple[int, A, B, C, D, E, F]]: ...

    def each(
        self, *columns: Typed[object], among: Sequence[int] | None = None
    ) -> Iterator[tuple[object, ...]]:
        """(row number, values of the columns) for each row that counts, or for those `among` all, without
        rows in which a value is BAD. Raises TypeError where a column has values of another type."""
        for column in columns:
            column.see(self.of_table.by_name[column.name])
        values = [self.column(column.name) for column in columns]
        numbers = self.counted if among is None else among
        rows = zip(numbers, *(map(column.__getitem__, numbers) for column in values), strict=True)
        if not self.some_bad:
            return rows
        return (row for row in rows if not any(value is BAD for value in row))
