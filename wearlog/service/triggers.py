"""The values of a rule's triggers, read in one way for saving, files, lists and forecasts.

`Rule.TRIGGERS` names the fields that are triggers; labels, units and limits are defined on these fields. When
a trigger trips, and the sentence for it, are defined in `forecasts.triggers`, with one file for each.
"""

from __future__ import annotations

from django.db import models

from wearlog.people.fields import Quantity, Tags
from wearlog.service.models import Rule

TriggerValue = float | int | bool | tuple[str, ...]
"""A number, the primary key of a crop, True, or several tags."""


def field_of(name: str) -> models.Field[object, object]:
    """The field of `Rule` for the trigger."""
    field = Rule._meta.get_field(name)
    assert isinstance(field, models.Field)
    return field


def trigger_value(rule: Rule, name: str) -> TriggerValue | None:
    """The rule's value for the trigger; None if the rule does not use it. A 0 counts as used, so that it can
    be refused when the rule is saved."""
    field = field_of(name)
    value = getattr(rule, field.attname)
    if isinstance(field, Quantity):
        return None if value is None else float(value)
    if isinstance(field, Tags):
        return tuple(value.split()) or None
    if field.is_relation:
        return None if value is None else int(value)
    return True if value else None


def used_triggers(rule: Rule) -> list[str]:
    """The names of the triggers that the rule uses."""
    return [name for name in Rule.TRIGGERS if trigger_value(rule, name) is not None]
