"""What is due: computed from the log, remembered only as long as the log stays as it is."""

from __future__ import annotations

import threading
from collections import OrderedDict
from datetime import date

from django.db import connection
from django.utils.translation import get_language

from wearlog.forecasts import versions
from wearlog.forecasts.board import items_of
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.record import load

REMEMBERED = 8
_memory: OrderedDict[tuple[int, date, str], tuple[DueItem, ...]] = OrderedDict()
_lock = threading.Lock()


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
    items = tuple(items_of(load(as_of)))
    if lasting and versions.current() == number:
        with _lock:
            _memory[key] = items
            while len(_memory) > REMEMBERED:
                _memory.popitem(last=False)
    return list(items)


def items_of_press(press_id: int, *, as_of: date) -> list[DueItem]:
    return [item for item in due_items(as_of=as_of) if item.press_id == press_id]


def items_of_part(part_id: int, *, as_of: date) -> list[DueItem]:
    return [item for item in due_items(as_of=as_of) if item.part_id == part_id]
