"""The audit trail: one row for each record that an action touched, never changed and never deleted."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, time
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.utils import translation
from django.utils.translation import gettext as _

from wearlog.people.models import AuditEntry, LogRecord, User

SECRET_FIELDS = frozenset({"password", "secret_hash", "last_login", "session_generation"})
COMMAND_LINE = "command line"


def plain_number(value: Decimal) -> str:
    """The shortest plain decimal: `1.500000` is `1.5`, `1E+3` is `1000`."""
    text = format(value, "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def as_json(value: object) -> object:
    """A field's value as stored in JSON: instants in UTC, decimals as text without trailing zeros."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Decimal):
        return plain_number(value)
    return value


def snapshot(instance: models.Model) -> dict[str, object]:
    """Every stored field of a record by column name, without passwords and secrets."""
    return {
        field.attname: as_json(getattr(instance, field.attname))
        for field in instance._meta.concrete_fields
        if field.name not in SECRET_FIELDS
    }


def key_of(record: models.Model) -> str:
    """What people call the record: its ref, code or username, else its text."""
    for name in ("ref", "code", "username"):
        value = getattr(record, name, "")
        if value:
            return str(value)[:255]
    # The stored text must not depend on the language that is active.
    with translation.override(settings.LANGUAGE_CODE):
        return str(record)[:255]


def name_of(user: User | None) -> str:
    return str(user) if user is not None else COMMAND_LINE


def write(
    *,
    at: datetime,
    by: User | None,
    action: str,
    record: models.Model,
    old: Mapping[str, object] | None = None,
    new: Mapping[str, object] | None = None,
    reason: str = "",
) -> AuditEntry:
    """Add a row in the caller's transaction. `old` and `new` come from `snapshot`."""
    return AuditEntry.objects.create(
        at=at,
        by=by,
        by_name=name_of(by),
        action=action,
        record=record._meta.model_name or "",
        record_id=record.pk,
        record_key=key_of(record),
        old=dict(old) if old is not None else None,
        new=dict(new) if new is not None else None,
        reason=reason,
    )


def strike_out(*, by: User | None, at: datetime, record: LogRecord, reason: str) -> None:
    """Void a record and write that to the audit trail. The row stays readable and no longer counts."""
    old = snapshot(record)
    record.voided_at, record.voided_by, record.void_reason = at, by, reason
    record.save(update_fields=["voided_at", "voided_by", "void_reason"])
    write(at=at, by=by, action="void", record=record, old=old, new=snapshot(record), reason=reason)


def by_whom(record: models.Model) -> str:
    """` by Oskar`, from the record's last row in the audit trail; empty where it has none (an imported
    record)."""
    last = (
        AuditEntry.objects.filter(record=record._meta.model_name or "", record_id=record.pk)
        .order_by("-at", "-pk")
        .first()
    )
    return _(" by %(person)s") % {"person": last.by_name} if last is not None else ""
