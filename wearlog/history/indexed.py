"""Rows that are found by one of several keys, without going through all of them each time."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from typing import Generic, TypeVar

Row = TypeVar("Row")


class Indexed(Generic[Row]):
    """keys: each takes a row and returns a number by which it can be found, or None."""

    def __init__(self, rows: Sequence[Row], *keys: Callable[[Row], int | None]) -> None:
        self._rows = rows
        self._places: list[dict[int, list[int]]] = []
        for key in keys:
            by_key: dict[int, list[int]] = defaultdict(list)
            for place, row in enumerate(rows):
                found = key(row)
                if found is not None:
                    by_key[found].append(place)
            self._places.append(dict(by_key))

    def where(self, *wanted: Collection[int]) -> tuple[Row, ...]:
        """The rows, in their order, of which the first key is one of the first numbers, or the second key one
        of the second numbers, and so on."""
        places: set[int] = set()
        for by_key, numbers in zip(self._places, wanted, strict=True):
            for number in numbers:
                places.update(by_key.get(number, ()))
        return tuple(self._rows[place] for place in sorted(places))
