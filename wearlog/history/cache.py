"""What this process keeps of the log and of what was derived from it, in one place.

Whoever derives something from the log opens a shelf here, once, at the top of its module. A shelf holds so
many answers at most, each under its key; the one that was asked for longest ago goes first. `forget` empties
all shelves at once.

A shelf is exact. An answer under a key that names the content it was made from (`Shelf`) is right for ever.
One under the version of the log (`VersionShelf`), or of the runs of a press (`RunsShelf`), is right until
that is written to; there these rules hold (docs/decisions/remembered-forecasts.md):

- the version is read before anything else of the log, and once more afterwards: what was written meanwhile
  may be in the answer in part, so that it is not kept;
- within a transaction nothing is kept and nothing kept is given, since what it wrote may yet be rolled back;
- where a version was never written (it is 0), nothing is kept.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Collection, Hashable, Mapping
from typing import Any, Generic, TypeVar

from django.db import connection

from wearlog.history import versions

Key = TypeVar("Key", bound=Hashable)
Answer = TypeVar("Answer")

_shelves: dict[str, Shelf[Any, Any]] = {}
_lock = threading.Lock()


class Shelf(Generic[Key, Answer]):
    """Answers under keys that name all that they were made from. Any number of threads may use it.

    name: no two shelves share one. most: how many answers it holds."""

    def __init__(self, name: str, *, most: int) -> None:
        if name in _shelves:
            raise ValueError(f"There are two shelves with the name {name!r}.")
        self._most = most
        self._answers: OrderedDict[Key, Answer] = OrderedDict()
        self.making = threading.RLock()
        """For what is too large to be made by several threads at once: hold it while looking and making."""
        _shelves[name] = self

    def __len__(self) -> int:
        return len(self._answers)

    def find(self, key: Key) -> Answer | None:
        with _lock:
            answer = self._answers.get(key)
            if answer is not None:
                self._answers.move_to_end(key)
            return answer

    def keep(self, key: Key, answer: Answer) -> Answer:
        """The answer, which is kept from now on."""
        with _lock:
            self._answers[key] = answer
            self._answers.move_to_end(key)
            while len(self._answers) > self._most:
                self._answers.popitem(last=False)
        return answer

    def get(self, key: Key, make: Callable[[], Answer]) -> Answer:
        """What is kept under the key, else what `make` answers."""
        known = self.find(key)
        return self.keep(key, make()) if known is None else known

    def clear(self) -> None:
        with _lock:
            self._answers.clear()


class VersionShelf(Generic[Key, Answer]):
    """Answers that are derived from the whole log, under its version and a key."""

    def __init__(self, name: str, *, most: int) -> None:
        self._shelf: Shelf[tuple[int, Key], Answer] = Shelf(name, most=most)

    def __len__(self) -> int:
        return len(self._shelf)

    def find(self, key: Key) -> Answer | None:
        """What is kept of the log as it stands, without making anything."""
        number = versions.current()
        return self._shelf.find((number, key)) if lasting(number) else None

    def get(
        self,
        key: Key,
        make: Callable[[], Answer],
        *,
        number: int | None = None,
        keep: Callable[[Answer], bool] = lambda _answer: True,
        one_at_a_time: bool = False,
    ) -> Answer:
        """What is kept under the key of the log as it stands, else what `make` answers.

        number: the log's version, where the caller has read it before anything else of the log.
        keep: whether an answer is good enough to be kept.
        one_at_a_time: threads wait for the one that makes the answer instead of making it too."""
        if connection.in_atomic_block:
            return make()
        number = versions.current() if number is None else number
        if not lasting(number):
            return make()
        known = self._shelf.find((number, key))
        if known is not None:
            return known
        if not one_at_a_time:
            return self._made(number, key, make, keep)
        with self._shelf.making:
            known = self._shelf.find((number, key))
            return self._made(number, key, make, keep) if known is None else known

    def _made(
        self, number: int, key: Key, make: Callable[[], Answer], keep: Callable[[Answer], bool]
    ) -> Answer:
        answer = make()
        if keep(answer) and versions.current() == number:
            self._shelf.keep((number, key), answer)
        return answer


class RunsShelf(Generic[Answer]):
    """Answers that are each derived from the runs and readings of one press, under the press's own version:
    an entry at one press leaves those of the others as they are. Of a press one answer is kept."""

    def __init__(self, name: str, *, most: int = 1_024) -> None:
        self._shelf: Shelf[int, tuple[int, Answer]] = Shelf(name, most=most)

    def get(
        self, presses: Collection[int], make: Callable[[list[int]], Mapping[int, Answer]]
    ) -> dict[int, Answer]:
        """By press; `make` answers for the presses of which nothing is kept, one answer for each."""
        if connection.in_atomic_block:
            return dict(make(list(presses)))
        of_runs = versions.of_runs()
        found = {}
        for press_id in presses:
            kept = self._shelf.find(press_id)
            if kept is not None and kept[0] == of_runs.get(press_id):
                found[press_id] = kept[1]
        fresh = [press_id for press_id in presses if press_id not in found]
        if fresh:
            made = make(fresh)
            found.update(made)
            still = versions.of_runs()
            for press_id in made.keys() & of_runs.keys():
                if still.get(press_id) == of_runs[press_id]:
                    self._shelf.keep(press_id, (of_runs[press_id], made[press_id]))
        return found


def lasting(number: int) -> bool:
    """Whether what is derived from the log at this version may be kept, and what is kept may be given."""
    return number > 0 and not connection.in_atomic_block


def forget() -> None:
    """Drop everything that is kept in this process."""
    for shelf in list(_shelves.values()):
        shelf.clear()
