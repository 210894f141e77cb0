"""The notes of a shift for the next one."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.people import audit, refs
from wearlog.people.cleaning import clean
from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.runs.models import ShiftNote


@transaction.atomic
def leave_note(
    *, by: User | None, at: datetime, text: str, by_name: str, press_id: int | None = None
) -> ShiftNote:
    """Store a note for the next shift, about one press or the whole mill. Raises Refused."""
    require(by, Permission.LOG)
    if not text.strip():
        raise Refused(_("The note is empty. Write a line."), field="text")
    if press_id is not None and not Press.objects.filter(pk=press_id).exists():
        raise Refused(_("There is no such press. Choose one from the list."), field="press")
    note = ShiftNote(
        press_id=press_id,
        written_at=at,
        by_name=by_name.strip() or audit.name_of(by),
        text=text.strip(),
        entered_at=at,
        entered_by=by,
    )
    clean(note)
    note.save()
    audit.write(at=at, by=by, action=refs.LOGGED, record=note, new=audit.snapshot(note))
    return note
