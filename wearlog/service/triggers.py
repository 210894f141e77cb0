"""What a rule asks for by each of its triggers, read in one way for saving, files, lists and forecasts.

Which fields of a rule are triggers says `Rule.TRIGGERS`; label, unit and limits stand on the fields. When a
trigger trips, and in which words, is for `forecasts.triggers`, with one file for each.
"""

from __future__ import annotations

from typing import Any

from wearlog.people.fields import Quantity, Tags
from wearlog.service.models import Rule

Asked = float | int | bool | tuple[str, ...]
"""A number, the key of a crop, True, or several tags."""


def field_of(name: str) -> Any:
    """The field of `Rule` that a trigger is."""
    return Rule._meta.get_field(name)


def asked_by(rule: Rule, name: str) -> Asked | None:
    """What the rule asks for by the trigger; None where it does not have it. A 0, which is refused when the
    rule is saved, counts as asked for."""
    field = field_of(name)
    value = getattr(rule, field.attname)
    if isinstance(field, Quantity):
        return None if value is None else float(value)
    if isinstance(field, Tags):
        return tuple(value.split()) or None
    if field.is_relation:
        return None if value is None else int(value)
    return True if value else None


def named_by(rule: Rule) -> list[str]:
    """The triggers that the rule has."""
    return [name for name in Rule.TRIGGERS if asked_by(rule, name) is not None]
