"""What is due: computed from the log, remembered only as long as the log stays as it is.

Three memories, each exact. The last answers, by the log's version. The answers stored in the database, by
the same version, so that a process that has just started need not begin anew. And the items of each press,
by the content that they depend on (`scope`): after an entry only the presses that it touches are worked out
again.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from hashlib import sha256

from django.db import connection
from django.utils.translation import get_language

from wearlog.forecasts import edges
from wearlog.forecasts.board import Board, in_order, with_cautions
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory import standings
from wearlog.forecasts.memory.scope import Scope, scopes_of
from wearlog.history import versions, whole
from wearlog.history.record import Record, load

REMEMBERED = 8
PRESSES_REMEMBERED = 512
_memory: OrderedDict[tuple[int, date, str], tuple[DueItem, ...]] = OrderedDict()
_of_press: OrderedDict[str, tuple[DueItem, ...]] = OrderedDict()
_lock = threading.Lock()


@dataclass(frozen=True, eq=False)
class Ground:
    """A day's record, and what is worked out from it once for every reader."""

    record: Record
    edges: Edges

    @cached_property
    def scopes(self) -> dict[int, Scope]:
        return scopes_of(self.record)


@dataclass(frozen=True, eq=False)
class Reckoning:
    """What a day's record says of every press, in one language."""

    ground: Ground
    language: str

    @property
    def edges(self) -> Edges:
        return self.ground.edges

    @property
    def scopes(self) -> dict[int, Scope]:
        return self.ground.scopes

    @cached_property
    def items(self) -> tuple[DueItem, ...]:
        return merged(self.of_press(press_id)[1] for press_id in self.scopes)

    def fingerprint(self, press_id: int) -> str:
        """A name of all that the items of a press depend on."""
        return _name(self.scopes[press_id].fingerprint, self.edges.fingerprint, self.language)

    def of_press(self, press_id: int) -> tuple[str, tuple[DueItem, ...]]:
        """The items of one press, and the fingerprint that they go by.

        Rules without a wear limit are remembered apart: a gauge teaches the whole fleet, but not them."""
        scope = self.scopes[press_id]
        name = self.fingerprint(press_id)
        counted = _name(scope.fingerprint, "", self.language)
        known = [_remembered(f"limits {name}"), _remembered(f"counted {counted}")]
        if None in known:
            board = Board(scope.record, self.edges, scope)
            for place, (at_limit, key) in enumerate(
                ((True, f"limits {name}"), (False, f"counted {counted}"))
            ):
                if known[place] is None:
                    known[place] = _remember(key, tuple(board.items_where(at_limit=at_limit)))
        return name, tuple(item for items in known if items is not None for item in items)


def _name(*pieces: str) -> str:
    return sha256(repr(pieces).encode()).hexdigest()[:48]


def _remembered(name: str) -> tuple[DueItem, ...] | None:
    with _lock:
        known = _of_press.get(name)
        if known is not None:
            _of_press.move_to_end(name)
        return known


def _remember(name: str, items: tuple[DueItem, ...]) -> tuple[DueItem, ...]:
    with _lock:
        _of_press[name] = items
        while len(_of_press) > PRESSES_REMEMBERED:
            _of_press.popitem(last=False)
    return items


_latest: dict[str, tuple[tuple[int, date], Ground]] = {}
"""The record is large, so that only the latest one is kept."""


def forget() -> None:
    """Drop everything that is remembered in this process."""
    with _lock:
        for memory in (_memory, _of_press, _latest):
            memory.clear()
    whole.forget()
    edges.forget()


def merged(of_presses: Iterable[Iterable[DueItem]]) -> tuple[DueItem, ...]:
    """The items of several presses in one order, each with its caution as it reads now."""
    items = [item for items in of_presses for item in items]
    return tuple(in_order(with_cautions(items)))


def reckoning(*, as_of: date) -> Reckoning:
    """For pages that show what presses and parts have worked beside what is due: one reading of the log."""
    return _reckoning(as_of, versions.current())


def _reckoning(as_of: date, number: int) -> Reckoning:
    return Reckoning(_ground(as_of, number), get_language() or "")


def _ground(as_of: date, number: int) -> Ground:
    """`number` is the log's version, read before anything else of it."""
    lasting = _lasting(number)
    kept = _latest.get("kept") if lasting else None
    if kept is not None and kept[0] == (number, as_of):
        return kept[1]
    record = load(as_of)
    made = Ground(record, Edges(record))
    if lasting and versions.current() == number:
        _latest["kept"] = ((number, as_of), made)
    return made


def due_items(*, as_of: date) -> list[DueItem]:
    """Every item of the forecast as the log stood at the end of the day, most pressing first.

    Reads only. The answer is kept in the process beside the log's version; a write to the log makes it
    stale at once. Within a transaction nothing is kept, since that may yet be rolled back.
    """
    number = versions.current()
    key = (number, as_of, get_language() or "")
    lasting = _lasting(number)
    if lasting:
        with _lock:
            if key in _memory:
                _memory.move_to_end(key)
                return list(_memory[key])
    stored = standings.stored(number=number, as_of=as_of, language=key[2]) if lasting else None
    items = _reckoning(as_of, number).items if stored is None else merged(stored)
    if lasting and versions.current() == number:
        with _lock:
            _memory[key] = items
            while len(_memory) > REMEMBERED:
                _memory.popitem(last=False)
    return list(items)


def _lasting(number: int) -> bool:
    return number > 0 and not connection.in_atomic_block


def remembered_items(*, as_of: date) -> list[DueItem] | None:
    """What `due_items` would answer where it need not be worked out again, else None."""
    key = (versions.current(), as_of, get_language() or "")
    with _lock:
        return list(_memory[key]) if key in _memory else None


def items_of_press(press_id: int, *, as_of: date) -> list[DueItem]:
    return [item for item in due_items(as_of=as_of) if item.press_id == press_id]


def items_of_part(part_id: int, *, as_of: date) -> list[DueItem]:
    return [item for item in due_items(as_of=as_of) if item.part_id == part_id]
