"""Refs: idempotency keys of entries. An entry that is sent twice with the same ref becomes one record."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import secrets
from collections.abc import Sequence
from datetime import datetime
from typing import TypeVar

from django.utils.translation import gettext as _

from wearlog.people.audit import as_json
from wearlog.people.models import AuditEntry, LogRecord
from wearlog.people.refusals import Refused

R = TypeVar("R", bound=LogRecord)

LOGGED = "log"
"""The action of a record's first row in the audit trail, which stores the entry's digest."""


def new_ref(at: datetime) -> str:
    """A ref for an entry that came without one: the day and 48 random bits."""
    return f"{at:%Y%m%d}-{secrets.token_hex(6)}"


def _plain(value: object) -> object:
    """The value for the digest, as JSON. A field that `came_later` is included only where it is set, so that
    digests of older entries stay the same."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            field.name: _plain(getattr(value, field.name))
            for field in dataclasses.fields(value)
            if not (field.metadata.get("came_later") and getattr(value, field.name) == field.default)
        }
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_plain(each) for each in value]
    return as_json(value)


def digest(entry: object) -> str:
    """A hash of the entry's content; `1.50` and `1.5`, or one instant in two time zones, give the same."""
    text = json.dumps(_plain(entry), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _says_the_same(existing: LogRecord, entry: object) -> bool:
    """Whether every value of the entry equals the stored one. For imported records, which have no digest."""
    if not dataclasses.is_dataclass(entry):
        return False
    given = {
        field.name: getattr(entry, field.name)
        for field in dataclasses.fields(entry)
        if hasattr(existing, field.name) and getattr(entry, field.name) != field.default
    }
    return "press_id" in given and all(getattr(existing, name) == value for name, value in given.items())


def find_existing(kind: type[R], *, ref: str, entry: object) -> R | None:
    """The record that this same entry made before, or None where its ref is new or empty.

    Raises Refused where a different entry has the ref.
    """
    existing = kind._default_manager.filter(ref=ref).first() if ref else None
    if existing is not None:
        same_entry(existing, entry)
    return existing


def same_entry(existing: LogRecord, entry: object) -> None:
    """Return if `existing` was made from this same entry, else raise Refused.

    Compares with the content as first entered, so that a retry by a phone is accepted after a correction.
    """
    first = AuditEntry.objects.filter(
        record=existing._meta.model_name, record_id=existing.pk, action=LOGGED
    ).first()
    kept = (first.new or {}).get("entry") if first is not None else None
    if kept == digest(entry) if kept is not None else _says_the_same(existing, entry):
        return
    raise taken()


def taken() -> Refused:
    """The refusal of an entry whose ref another one already has."""
    return Refused(
        _(
            "This entry was stored before, with other content. Correct the record that stands, or open the "
            "page afresh and log it anew."
        ),
        field="ref",
    )
