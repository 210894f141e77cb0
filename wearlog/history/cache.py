"""The in-process cache of the log and of everything derived from it.

A module that caches something derived from the log creates a cache here once, at its top. A cache holds a
limited number of answers, each under its key, and drops the least recently used one first. `clear_all`
empties all caches.

A cache never gives a stale answer. With `Cache`, the key identifies the content that the answer was made
from, so that the answer stays right. With `VersionCache` an answer is valid for one version of the log, with
`RunsCache` for one version of the runs of a press; for these two (docs/decisions/remembered-forecasts.md):

- the version is read before anything else of the log, so that an answer that was made while somebody wrote
  belongs to a version that is over, and is not given again;
- within a transaction nothing is kept and no cached answer is given, since its writes may be rolled back;
- while no version has been written yet (it is 0), nothing is kept.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Collection, Hashable, Mapping
from dataclasses import fields, is_dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np
from django.db import connection

from wearlog.history import versions

Key = TypeVar("Key", bound=Hashable)
Answer = TypeVar("Answer")


class Clearable(Protocol):
    def clear(self) -> None: ...


_caches: dict[str, Clearable] = {}
_lock = threading.Lock()


class Cache(Generic[Key, Answer]):
    """Answers under keys that identify all that they were made from. Thread-safe.

    name: must be unique, else ValueError. most: the number of answers that the cache holds. most_mb: how many
    million bytes the arrays of its answers may take together; 0 for any number."""

    def __init__(self, name: str, *, most: int, most_mb: int = 0) -> None:
        if name in _caches:
            raise ValueError(f"There are two caches with the name {name!r}.")
        self._most = most
        self._most_bytes = most_mb * 1_000_000
        self._weights: dict[Key, int] = {}
        self.bytes_kept = 0
        """The weight of all answers, as each was weighed when it came."""
        self._answers: OrderedDict[Key, Answer] = OrderedDict()
        self.making = threading.RLock()
        """Lock against making the same large answer in several threads: hold it while looking and making."""
        _caches[name] = self

    def __len__(self) -> int:
        return len(self._answers)

    def find(self, key: Key) -> Answer | None:
        with _lock:
            answer = self._answers.get(key)
            if answer is not None:
                self._answers.move_to_end(key)
            return answer

    def keep(self, key: Key, answer: Answer) -> Answer:
        """Store the answer under the key and return it."""
        weight = weight_of(answer) if self._most_bytes else 0
        with _lock:
            self._answers[key] = answer
            self._answers.move_to_end(key)
            self.bytes_kept += weight - self._weights.get(key, 0)
            self._weights[key] = weight
            while self._answers and self._is_full():
                oldest, _ = self._answers.popitem(last=False)
                self.bytes_kept -= self._weights.pop(oldest)
        return answer

    def _is_full(self) -> bool:
        too_heavy = self._most_bytes > 0 and self.bytes_kept > self._most_bytes
        return len(self._answers) > self._most or too_heavy

    def get(self, key: Key, make: Callable[[], Answer]) -> Answer:
        """The cached answer for the key; if there is none, call `make`, cache its result and return it."""
        known = self.find(key)
        return self.keep(key, make()) if known is None else known

    def clear(self) -> None:
        with _lock:
            self._answers.clear()
            self._weights.clear()
            self.bytes_kept = 0


class VersionCache(Generic[Key, Answer]):
    """Answers derived from the whole log, cached under the log's version and a key."""

    def __init__(self, name: str, *, most: int) -> None:
        self._cache: Cache[tuple[int, Key], Answer] = Cache(name, most=most)

    def __len__(self) -> int:
        return len(self._cache)

    def find(self, key: Key) -> Answer | None:
        """The cached answer for the log's current version, or None."""
        number = versions.latest().number
        return self._cache.find((number, key)) if may_cache(number) else None

    def get(
        self,
        key: Key,
        make: Callable[[], Answer],
        *,
        number: int | None = None,
        keep: Callable[[Answer], bool] = lambda _answer: True,
        one_at_a_time: bool = False,
    ) -> Answer:
        """The cached answer for the log's current version and the key, else the result of `make`.

        number: the log's version, where the caller has read it before anything else of the log.
        keep: whether an answer may be cached.
        one_at_a_time: other threads wait for the one that makes the answer instead of making it too."""
        if connection.in_atomic_block:
            return make()
        number = versions.latest().number if number is None else number
        if not may_cache(number):
            return make()
        known = self._cache.find((number, key))
        if known is not None:
            return known
        if not one_at_a_time:
            return self._make_and_keep(number, key, make, keep)
        with self._cache.making:
            known = self._cache.find((number, key))
            return self._make_and_keep(number, key, make, keep) if known is None else known

    def _make_and_keep(
        self, number: int, key: Key, make: Callable[[], Answer], keep: Callable[[Answer], bool]
    ) -> Answer:
        answer = make()
        if keep(answer):
            self._cache.keep((number, key), answer)
        return answer


class RunsCache(Generic[Answer]):
    """Answers each derived from the runs and readings of one press, cached under the version of that press,
    so that an entry for one press leaves the answers of the others valid. One answer is kept for each
    press."""

    def __init__(self, name: str, *, most: int = 1_024, most_mb: int = 0) -> None:
        self._cache: Cache[int, tuple[int, Answer]] = Cache(name, most=most, most_mb=most_mb)

    @property
    def bytes_kept(self) -> int:
        return self._cache.bytes_kept

    def get(
        self, presses: Collection[int], make: Callable[[list[int]], Mapping[int, Answer]]
    ) -> dict[int, Answer]:
        """Answers by press; `make` returns one answer for each press that has no valid cached one."""
        if connection.in_atomic_block:
            return dict(make(list(presses)))
        of_runs = versions.of_runs()
        found = {}
        for press_id in presses:
            kept = self._cache.find(press_id)
            if kept is not None and kept[0] == of_runs.get(press_id):
                found[press_id] = kept[1]
        fresh = [press_id for press_id in presses if press_id not in found]
        if fresh:
            made = make(fresh)
            found.update(made)
            for press_id in made.keys() & of_runs.keys():
                self._cache.keep(press_id, (of_runs[press_id], made[press_id]))
        return found


GROWS = 3
"""Arrays grow by so many times at most by what is later derived from them and kept with them."""


def weight_of(answer: object) -> int:
    """Bytes that the arrays of an answer take, with what will be derived from them. Arrays that several
    answers share count in each."""
    if isinstance(answer, np.ndarray):
        return GROWS * answer.nbytes
    if isinstance(answer, str | bytes):
        return len(answer)
    if isinstance(answer, Mapping):
        # Texts of runs by their keys take about so much each.
        return 150 * len(answer) + sum(weight_of(value) for value in answer.values())
    if isinstance(answer, tuple | list):
        return sum(weight_of(value) for value in answer)
    if is_dataclass(answer) and not isinstance(answer, type):
        return sum(weight_of(getattr(answer, field.name)) for field in fields(answer))
    return 0


def may_cache(number: int) -> bool:
    """Whether answers derived from the log at this version may be cached, and cached ones given."""
    return number > 0 and not connection.in_atomic_block


def clear_all() -> None:
    """Drop everything that this process has cached."""
    for cache in list(_caches.values()):
        cache.clear()
