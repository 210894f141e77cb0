"""Service rules in words."""

from __future__ import annotations

from wearlog.forecasts.triggers.all import ALL
from wearlog.service.models import Rule
from wearlog.service.triggers import field_of, used_triggers

CROPS_NAMED = [name for name in Rule.TRIGGERS if field_of(name).is_relation]
"""The triggers that name a crop: fetch them with select_related in lists."""


def trigger_words(rule: Rule, system: str) -> list[str]:
    """The rule's triggers in words: `after 300 h`, `after the season of sunflower`."""
    named = set(used_triggers(rule))
    return [words for trigger in ALL if trigger.column in named for words in trigger.summary(rule, system)]
