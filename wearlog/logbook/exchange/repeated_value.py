"""A column with the same value in every row, such as one that nobody filled in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import repeat
from typing import Any, overload


class RepeatedValue(Sequence[Any]):
    """A sequence of `count` times `value` that takes no memory."""

    def __init__(self, value: Any, count: int) -> None:
        self.value, self.length = value, count

    def __len__(self) -> int:
        return self.length

    def __iter__(self) -> Iterator[Any]:
        return repeat(self.value, self.length)

    @overload
    def __getitem__(self, place: int) -> Any: ...

    @overload
    def __getitem__(self, place: slice) -> RepeatedValue: ...

    def __getitem__(self, place: int | slice) -> Any:
        if isinstance(place, slice):
            return RepeatedValue(self.value, len(range(*place.indices(self.length))))
        if not -self.length <= place < self.length:
            raise IndexError(place)
        return self.value
