"""What every floor must know of a rule's triggers: the column of each, what it asks for, and its label.

The table itself, `TRIGGER_COLUMNS`, stands beside `Rule` in `service.models`. When a trigger trips, and in
which words, is for `forecasts.triggers`, with one file for each.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

    from wearlog.service.models import Rule


class Asks(Enum):
    """What a person gives to name a trigger. Forms, files and forecasts each read it in one way."""

    HOURS = "hours of pressing, more than 0"
    SEED = "kilograms of seed, more than 0"
    NUMBER = "a number of something else, more than 0"
    CROP = "a crop"
    FLAG = "yes or no"
    INCIDENTS = "kinds of incident, with a space between"


Asked = float | int | bool | tuple[str, ...]
"""What a rule asks for by one trigger: a number, a crop's key, True, or kinds of incident."""

NUMBERS = frozenset({Asks.HOURS, Asks.SEED, Asks.NUMBER})


@dataclass(frozen=True, kw_only=True)
class TriggerColumn:
    """One trigger's column of `Rule`, of the rule form and of `rules.csv`, all of the same name.

    `unit` is shown behind a number of something else, and `most` is the largest number that the form takes
    (None: the largest that it takes anywhere). A column that `came_later` than the file format is written
    only where a rule uses it, so that a log that doesn't keeps its bytes.
    """

    name: str
    asks: Asks
    label: _StrPromise
    unit: _StrPromise | str = ""
    most: Decimal | int | None = None
    came_later: bool = False

    def is_named_by(self, rule: Rule) -> bool:
        """Whether the rule has this trigger. A 0, which is refused when it is saved, counts as named."""
        return self.asked_by(rule) is not None

    def asked_by(self, rule: Rule) -> Asked | None:
        """What the rule asks for; None where it does not have this trigger."""
        if self.asks is Asks.CROP:
            key: int | None = getattr(rule, f"{self.name}_id")
            return key
        value = getattr(rule, self.name)
        if self.asks in NUMBERS:
            return None if value is None else float(value)
        if self.asks is Asks.INCIDENTS:
            return tuple(value.split()) or None
        return True if value else None
