"""A mapping from presses to values that are worked out when they are first asked for."""

from __future__ import annotations

import threading
from collections.abc import Callable, Collection, Iterator, Mapping
from typing import Generic, TypeVar

Value = TypeVar("Value")


class ByPress(Mapping[int, Value], Generic[Value]):
    """Values by the primary key of a press. A page about one press so reads and computes that press alone.

    presses: the keys that may be asked for. make: takes some of them, and returns their values; presses that
    it leaves out are absent from the mapping. known: values that are there from the start. Thread-safe."""

    def __init__(
        self,
        presses: Collection[int],
        make: Callable[[list[int]], Mapping[int, Value]],
        known: Mapping[int, Value] | None = None,
    ) -> None:
        self._presses = presses
        self._make = make
        self._made: dict[int, Value | None] = dict(known or {})
        self._making = threading.RLock()

    def __getitem__(self, press_id: int) -> Value:
        if press_id not in self._presses:
            raise KeyError(press_id)
        found = self.several([press_id]).get(press_id)
        if found is None:
            raise KeyError(press_id)
        return found

    def __iter__(self) -> Iterator[int]:
        return iter(self.several(self._presses))

    def __len__(self) -> int:
        return len(self.several(self._presses))

    def __contains__(self, press_id: object) -> bool:
        return isinstance(press_id, int) and press_id in self._presses and bool(self.several([press_id]))

    def several(self, presses: Collection[int]) -> dict[int, Value]:
        """The values of these presses, those that are missing made in one call; in the order given."""
        if any(press_id not in self._made for press_id in presses):
            with self._making:
                missing = [press_id for press_id in presses if press_id not in self._made]
                made = self._make(missing) if missing else {}
                for press_id in missing:
                    self._made[press_id] = made.get(press_id)
        found = ((press_id, self._made[press_id]) for press_id in presses)
        return {press_id: value for press_id, value in found if value is not None}

    @staticmethod
    def of(table: Mapping[int, Value], presses: Collection[int]) -> Mapping[int, Value]:
        """The values of these presses from any mapping by press; of this kind, made in one call."""
        return table.several(presses) if isinstance(table, ByPress) else table

    def knowing(self, values: Mapping[int, Value | None]) -> ByPress[Value]:
        """Another of the same kind with these values from the start; None: there is none."""
        new: ByPress[Value] = ByPress(self._presses, self._make)
        new._made.update(values)
        return new

    @property
    def made(self) -> dict[int, Value]:
        """The values that are there already."""
        return {press_id: value for press_id, value in list(self._made.items()) if value is not None}
