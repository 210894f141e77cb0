"""Django's sessions with a column for the person, so that they can be listed and ended.

Ending a session deletes its row. A request that still uses it can't bring the row back, since Django saves a
session that it has loaded by an UPDATE, never by an INSERT.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.base import SessionBase
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.people import audit
from wearlog.people.models import Session, User
from wearlog.people.refusals import NotAllowed
from wearlog.people.roles import Permission, allows
from wearlog.people.signin import hash_of

DEVICE, SIGNED_IN_AT, LINK_AT = "device", "signed_in_at", "link_at"
USE_IS_NOTED_EVERY = timedelta(minutes=10)
LINK_IS_FRESH_FOR = timedelta(minutes=15)
"""How long after signing in by a link a person may set a first password."""


class SessionStore(DatabaseStore):
    """Django's database sessions in rows that refer to their person. (Django requires this class name.)"""

    used_at: datetime | None = None

    @classmethod
    def get_model_class(cls) -> type[Session]:
        return Session

    def _get_session_from_db(self) -> Session | None:
        row: Session | None = super()._get_session_from_db()  # type: ignore[misc]  # not in the stubs
        self.used_at = row.used_at if row is not None else None
        return row

    def create_model_instance(self, data: dict[str, object]) -> Session:
        row = super().create_model_instance(data)
        assert isinstance(row, Session)
        row.handle = handle_of(row.session_key)
        row.user_id = int(str(data[SESSION_KEY])) if SESSION_KEY in data else None
        row.device = str(data.get(DEVICE, ""))
        row.signed_in_at = moment(data, SIGNED_IN_AT)
        return row


def handle_of(session_key: str) -> str:
    return hash_of(session_key)[:32]


def moment(data: SessionBase | Mapping[str, object], name: str) -> datetime | None:
    """The instant stored as text under that name; `data` is a session or its content. None where it is
    missing."""
    kept = data.get(name)
    return datetime.fromisoformat(str(kept)) if kept else None


def begin(session: SessionBase, *, at: datetime, device: str, by_link: bool) -> None:
    """Store in a new session when, on which device and how the person signed in."""
    session[DEVICE], session[SIGNED_IN_AT] = device, at.isoformat()
    if by_link:
        session[LINK_AT] = at.isoformat()
    else:
        session.pop(LINK_AT, None)


def is_fresh_from_link(session: SessionBase, *, at: datetime) -> bool:
    """Whether the session began by a sign-in link a few minutes ago."""
    began = moment(session, LINK_AT)
    return began is not None and timedelta(0) <= at - began <= LINK_IS_FRESH_FOR


def use_is_old(session: SessionBase, *, at: datetime) -> bool:
    """Whether the recorded last use is so old that it should be updated."""
    noted = getattr(session, "used_at", None) or moment(session, SIGNED_IN_AT)
    return noted is None or not timedelta(0) <= at - noted < USE_IS_NOTED_EVERY


def note_use(session: SessionBase, *, at: datetime) -> None:
    """Record that the session is in use, by at most one UPDATE every ten minutes. For requests that may
    write.

    It writes only that column, so that it overwrites nothing that another request stores in the session.
    """
    if session.session_key and use_is_old(session, at=at):
        Session.objects.filter(session_key=session.session_key).update(used_at=at)


def not_expired(person: User, *, at: datetime) -> list[Session]:
    """The sessions in which the person is signed in, the one used last first."""
    return list(Session.objects.filter(user=person).not_expired(at).last_used_first())


def is_stored(session_key: str) -> bool:
    """Whether the session has a row, expired or not; a session that was ended has none."""
    return Session.objects.filter(session_key=session_key).exists()


@transaction.atomic
def end(*, by: User, at: datetime, person: User, handle: str, action: str = "end session") -> bool:
    """End one session of the person. Allowed for the person and for owners. False where it has ended already.

    Raises NotAllowed.
    """
    _require(by, person)
    row = Session.objects.select_for_update().filter(user=person, handle=handle).first()
    if row is None:
        return False
    row.delete()
    audit.write(at=at, by=by, action=action, record=person, old=audited([row]), new={"device": ""})
    return True


@transaction.atomic
def end_all(*, by: User, at: datetime, person: User, but: str | None = None) -> int:
    """End every session of the person except the one whose key is `but`; return how many were ended.

    Raises NotAllowed.
    """
    _require(by, person)
    rows = list(Session.objects.select_for_update().filter(user=person).exclude(session_key=but or ""))
    if rows:
        drop(rows)
        audit.write(at=at, by=by, action="end sessions", record=person, old=audited(rows), new={"device": ""})
    return len(rows)


def drop(rows: list[Session]) -> None:
    Session.objects.filter(pk__in=[row.pk for row in rows]).delete()


def audited(rows: list[Session]) -> dict[str, str]:
    """What the audit trail stores about sessions that ended; never a key."""
    return {"device": ", ".join(row.device or "unknown" for row in rows)}


def clear_expired(*, at: datetime) -> int:
    """Delete expired sessions; return how many."""
    return Session.objects.expired(at).delete()[0]


def _require(by: User, person: User) -> None:
    if not (allows(by, Permission.OWN) or (by.is_active and by.pk == person.pk)):
        raise NotAllowed(_("These are another person's devices. Ask them, or an owner of the mill."))
