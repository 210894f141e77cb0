"""Answers to doubts about the log: each is asked once, unless somebody wants it asked again."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.people import audit
from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.runs.models import Cause, SettledDoubt


@transaction.atomic
def settle_doubt(
    *, by: User | None, at: datetime, press_id: int, cause: Cause, begins: datetime, accepted: bool
) -> SettledDoubt:
    """Write down that a doubt was answered. Answered twice, the first answer stands. Raises NotAllowed."""
    require(by, Permission.MAINTAIN)
    settled, new = SettledDoubt.objects.get_or_create(
        press_id=press_id,
        cause=cause,
        at=begins,
        defaults={"accepted": accepted, "settled_at": at, "settled_by": by},
    )
    if new:
        audit.write(at=at, by=by, action="add", record=settled, new=audit.snapshot(settled))
    return settled


@transaction.atomic
def ask_again(*, by: User | None, at: datetime, pk: int) -> None:
    """Forget the answer to a doubt, so that it is asked again where it still stands. The audit trail keeps
    the answer. Raises Refused and NotAllowed."""
    require(by, Permission.MAINTAIN)
    settled = SettledDoubt.objects.select_for_update().filter(pk=pk).first()
    if settled is None:
        raise Refused(_("This doubt is asked again already."))
    audit.write(at=at, by=by, action="remove", record=settled, old=audit.snapshot(settled))
    settled.delete()
