"""Refs: the own key of an entry, by which the same entry sent twice is one record."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import secrets
from collections.abc import Sequence
from datetime import datetime
from typing import Any, TypeVar

from django.utils.translation import gettext as _

from wearlog.people.audit import as_json
from wearlog.people.models import AuditEntry, LogRecord
from wearlog.people.refusals import Refused

R = TypeVar("R", bound=LogRecord)

LOGGED = "log"
"""The audit action of a record's first row, which keeps the entry's digest."""


def new_ref(at: datetime) -> str:
    """A ref for an entry that brought none: the day and 48 random bits."""
    return f"{at:%Y%m%d}-{secrets.token_hex(6)}"


def _plain(value: Any) -> Any:
    """A field that `came_later` counts only where it says something: entries of before stay the same."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            field.name: _plain(getattr(value, field.name))
            for field in dataclasses.fields(value)
            if not (field.metadata.get("came_later") and getattr(value, field.name) == field.default)
        }
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_plain(each) for each in value]
    return as_json(value)


def digest(entry: Any) -> str:
    """A fingerprint of what was handed in: `1.50` and `1.5`, or one instant in two zones, are the same."""
    text = json.dumps(_plain(entry), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _says_the_same(existing: LogRecord, entry: Any) -> bool:
    """For a record that came with an import, where no digest tells: what the entry gives is what stands."""
    if not dataclasses.is_dataclass(entry):
        return False
    given = {
        field.name: getattr(entry, field.name)
        for field in dataclasses.fields(entry)
        if hasattr(existing, field.name) and getattr(entry, field.name) != field.default
    }
    return "press_id" in given and all(getattr(existing, name) == value for name, value in given.items())


def already(kind: type[R], *, ref: str, entry: Any) -> R | None:
    """The record that this very entry made before, or None where its ref is new (or it brought none).

    Raises Refused where another entry has the ref.
    """
    existing = kind._default_manager.filter(ref=ref).first() if ref else None
    if existing is not None:
        same_entry(existing, entry)
    return existing


def same_entry(existing: LogRecord, entry: Any) -> None:
    """Accept that `existing` was made from this very entry, or raise Refused.

    Compares with what was entered first, so that a phone may send again what has been corrected since.
    """
    first = AuditEntry.objects.filter(
        record=existing._meta.model_name, record_id=existing.pk, action=LOGGED
    ).first()
    kept = (first.new or {}).get("entry") if first is not None else None
    if kept == digest(entry) if kept is not None else _says_the_same(existing, entry):
        return
    raise Refused(
        _(
            "Another record already has the ref %(existing)s. Send the entry under a ref of "
            "its own, or correct the record that stands."
        )
        % {"existing": repr(getattr(existing, "ref", ""))},
        field="ref",
    )
