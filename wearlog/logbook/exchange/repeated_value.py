"""A column with the same value in every row, such as one that nobody filled in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import repeat
from typing import TypeVar, overload

Value = TypeVar("Value", covariant=True)


class RepeatedValue(Sequence[Value]):
    """A sequence of `count` times `value` that takes no memory."""

    def __init__(self, value: Value, count: int) -> None:
        self.value, self.length = value, count

    def __len__(self) -> int:
        return self.length

    def __iter__(self) -> Iterator[Value]:
        return repeat(self.value, self.length)

    @overload
    def __getitem__(self, place: int) -> Value: ...

    @overload
    def __getitem__(self, place: slice) -> RepeatedValue[Value]: ...

    def __getitem__(self, place: int | slice) -> Value | RepeatedValue[Value]:
        if isinstance(place, slice):
            return RepeatedValue(self.value, len(range(*place.indices(self.length))))
        if not -self.length <= place < self.length:
            raise IndexError(place)
        return self.value
