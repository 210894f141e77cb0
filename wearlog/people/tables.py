"""Tables that say something of every member of a list of choices, and can't forget one."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import TypeVar, cast

from django.db.models import TextChoices

Key = TypeVar("Key", bound=TextChoices)
Value = TypeVar("Value")


def exhaustive(choices: type[Key], table: Mapping[Key, Value]) -> Mapping[str, Value]:
    """The table, to be read by member or by its code. A table that lacks a member is a LookupError as soon as
    its module is loaded, so that a new member asks at once for what each floor must know of it."""
    missing = [member.name for member in choices if member not in table]
    if missing:
        raise LookupError(
            f"A table by {choices.__name__} says nothing of {', '.join(missing)}. Write a line for each; "
            "where there is nothing to say, the line says so."
        )
    return cast("Mapping[str, Value]", MappingProxyType(dict(table)))
