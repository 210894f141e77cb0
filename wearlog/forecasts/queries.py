"""What is due: computed from the log, remembered only as long as the log stays as it is."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from datetime import date

from django.db import connection
from django.utils.translation import get_language

from wearlog.forecasts import versions
from wearlog.forecasts.board import Board, items_on
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.record import load

REMEMBERED = 8
_memory: OrderedDict[tuple[int, date, str], tuple[DueItem, ...]] = OrderedDict()
_lock = threading.Lock()


@dataclass(frozen=True, eq=False)
class Reckoning:
    """The items of a day, and the edges (with their record) that they were worked out from."""

    items: tuple[DueItem, ...]
    edges: Edges


_latest: dict[str, tuple[tuple[int, date, str], Reckoning]] = {}
"""The record is large, so that only the latest one is kept."""


def reckoning(*, as_of: date) -> Reckoning:
    """For pages that show what presses and parts have worked beside what is due: one reading of the log."""
    number = versions.current()
    key = (number, as_of, get_language() or "")
    lasting = number > 0 and not connection.in_atomic_block
    kept = _latest.get("kept") if lasting else None
    if kept is not None and kept[0] == key:
        return kept[1]
    board = Board(load(as_of))
    made = Reckoning(tuple(items_on(board)), board.edges)
    if lasting and versions.current() == number:
        _latest["kept"] = (key, made)
    return made


def due_items(*, as_of: date) -> list[DueItem]:
    """Every item of the forecast as the log stood at the end of the day, most pressing first.

    Reads only. The answer is kept in the process beside the log's version; a write to the log makes it
    stale at once. Within a transaction nothing is kept, since that may yet be rolled back.
    """
    number = versions.current()
    key = (number, as_of, get_language() or "")
    lasting = number > 0 and not connection.in_atomic_block
    if lasting:
        with _lock:
            if key in _memory:
                _memory.move_to_end(key)
                return list(_memory[key])
    items = reckoning(as_of=as_of).items
    if lasting and versions.current() == number:
        with _lock:
            _memory[key] = items
            while len(_memory) > REMEMBERED:
                _memory.popitem(last=False)
    return list(items)


def remembered_items(*, as_of: date) -> list[DueItem] | None:
    """What `due_items` would answer where it need not be worked out again, else None."""
    key = (versions.current(), as_of, get_language() or "")
    with _lock:
        return list(_memory[key]) if key in _memory else None


def items_of_press(press_id: int, *, as_of: date) -> list[DueItem]:
    return [item for item in due_items(as_of=as_of) if item.press_id == press_id]


def items_of_part(part_id: int, *, as_of: date) -> list[DueItem]:
    return [item for item in due_items(as_of=as_of) if item.part_id == part_id]
