"""Lookup tables with an entry for every member of a list of choices."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import TypeVar, cast

from django.db.models import TextChoices

Key = TypeVar("Key", bound=TextChoices)
Value = TypeVar("Value")


def exhaustive(choices: type[Key], table: Mapping[Key, Value]) -> Mapping[str, Value]:
    """Return the table, readable by member or by its code. Raises LookupError where it lacks a member. As
    this happens while the module is imported, a new member shows at once which tables need an entry for
    it."""
    missing = [member.name for member in choices if member not in table]
    if missing:
        raise LookupError(
            f"A table by {choices.__name__} says nothing of {', '.join(missing)}. Write a line for each; "
            "where there is nothing to say, the line says so."
        )
    return cast("Mapping[str, Value]", MappingProxyType(dict(table)))
