"""Correcting, voiding and taking back what stands in the log. Nothing is overwritten silently or deleted."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime, timedelta
from typing import TypeVar

from django.core.exceptions import ValidationError
from django.db import transaction

from wearlog.forecasts import versions
from wearlog.people import audit
from wearlog.people.models import LogRecord, User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.people.roles import Permission, allows, require

OWN_ENTRIES_FOR = timedelta(hours=48)

AnyRecord = TypeVar("AnyRecord", bound=LogRecord)


def may_change(user: User | None, record: LogRecord, *, at: datetime) -> bool:
    """Maintainers may change every entry, others who log their own of the last 48 hours."""
    if allows(user, Permission.MAINTAIN):
        return True
    return (
        user is not None
        and allows(user, Permission.LOG)
        and record.entered_by_id == user.pk
        and record.entered_at is not None
        and at - record.entered_at <= OWN_ENTRIES_FOR
    )


def require_change(user: User | None, record: LogRecord, *, at: datetime) -> None:
    require(user, Permission.LOG)
    if not may_change(user, record, at=at):
        raise NotAllowed("You can change your own entries for two days. Ask a maintainer to change this one.")


def reasoned(reason: str) -> str:
    if not reason.strip():
        raise Refused("Write why the record is changed; the reason is kept with it.", field="reason")
    return reason.strip()


def correct(
    *,
    by: User | None,
    at: datetime,
    record: AnyRecord,
    changes: Mapping[str, object],
    reason: str,
    confirmed: Collection[str] = (),
) -> AnyRecord:
    """Change fields of a standing record. `changes` maps field names to cleaned values (a model instance for
    a foreign key). Checked again like a new entry; the audit trail keeps old, new and the reason.
    """
    reason = reasoned(reason)
    with transaction.atomic():
        fresh = type(record)._default_manager.select_for_update().get(pk=record.pk)
        require_change(by, fresh, at=at)
        old = audit.snapshot(fresh)
        for name, value in changes.items():
            setattr(fresh, name, value)
        try:
            fresh.full_clean()
        except ValidationError as error:
            raise Refused(" ".join(error.messages)) from error
        fresh.save()
        audit.write(
            at=at, by=by, action="correct", record=fresh, old=old, new=audit.snapshot(fresh), reason=reason
        )
        versions.touch()
    return fresh


def void(*, by: User | None, at: datetime, record: AnyRecord, reason: str) -> AnyRecord:
    """Strike a record out: it stays readable and counts no more."""
    reason = reasoned(reason)
    with transaction.atomic():
        fresh = type(record)._default_manager.select_for_update().get(pk=record.pk)
        require_change(by, fresh, at=at)
        if fresh.voided_at is not None:
            raise Refused("This record is struck out already.")
        old = audit.snapshot(fresh)
        fresh.voided_at, fresh.voided_by, fresh.void_reason = at, by, reason
        fresh.save()
        audit.write(
            at=at, by=by, action="void", record=fresh, old=old, new=audit.snapshot(fresh), reason=reason
        )
        versions.touch()
    return fresh


def undo_move(*, by: User | None, at: datetime, fitting_id: int, reason: str) -> None:
    """Take back the move that began a fitting: what sat there before goes on as if it had never happened."""
    raise NotImplementedError
