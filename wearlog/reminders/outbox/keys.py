"""Permanent names: of a cycle of a due item, and of each message that it calls for.

Ids, so that renaming a rule or a part repeats nothing; hashed, so that they fit whatever a cycle holds.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from typing import TypeVar

from wearlog.forecasts.items import DueItem

T = TypeVar("T")


def thing_of(item: DueItem) -> str:
    """What the item is about: a part's edge wherever it sits, else a place on a press."""
    if item.part_id is not None:
        return f"part {item.part_id} {item.edge}".rstrip()
    return f"press {item.press_id} {item.position_id or ''}".rstrip()


def item_key(item: DueItem) -> str:
    """The name of this cycle of the item: rule, thing, and what counting started at. Work begins another."""
    return _hashed([item.rule_id, thing_of(item), item.cycle])


def dedupe_key(item: DueItem, *, telling: str, person_id: int, channel: str) -> str:
    """The permanent name of one message: rule, thing, service cycle, stage, recipient and channel."""
    return _hashed([item.rule_id, thing_of(item), item.cycle, telling, person_id, channel])


def digest_key(*, person_id: int, period: str, channel: str) -> str:
    """The permanent name of a person's list of one day or week."""
    return _hashed(["digest", period, person_id, channel])


def _hashed(words: list[object]) -> str:
    return hashlib.sha256(json.dumps(words).encode()).hexdigest()


def in_batches(values: Sequence[T], size: int = 500) -> Iterator[Sequence[T]]:
    """Few enough at a time for any database's limit of values in one statement."""
    for start in range(0, len(values), size):
        yield values[start : start + size]
