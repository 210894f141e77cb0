"""Permanent keys of a cycle of a due item, and of each message about it.

Made of ids, so that renaming a rule or a part repeats no message; hashed, so that their length is fixed.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from typing import TypeVar

from wearlog.forecasts.items import DueItem

T = TypeVar("T")


def thing_of(item: DueItem) -> str:
    """The item's subject: a part's edge wherever it is fitted, else a position on a press."""
    if item.part_id is not None:
        return f"part {item.part_id} {item.edge}".rstrip()
    return f"press {item.press_id} {item.position_id or ''}".rstrip()


def item_key(item: DueItem) -> str:
    """The key of this cycle of the item: rule, thing, and the start of counting. Work begins a new cycle."""
    return _hashed([item.rule_id, thing_of(item), item.cycle])


def dedupe_key(item: DueItem, *, telling: str, person_id: int, channel: str) -> str:
    """The permanent key of one message, from rule, thing, service cycle, stage, recipient and channel."""
    return _hashed([item.rule_id, thing_of(item), item.cycle, telling, person_id, channel])


def digest_key(*, person_id: int, period: str, channel: str) -> str:
    """The permanent key of a person's list of one day or week."""
    return _hashed(["digest", period, person_id, channel])


def _hashed(words: list[object]) -> str:
    return hashlib.sha256(json.dumps(words).encode()).hexdigest()


def in_batches(values: Sequence[T], size: int = 500) -> Iterator[Sequence[T]]:
    """The values in batches, small enough for any database's limit of parameters in a statement."""
    for start in range(0, len(values), size):
        yield values[start : start + size]
