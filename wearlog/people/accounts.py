"""Adding and changing the people who may sign in."""

from __future__ import annotations

from datetime import datetime

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.people import audit, sessions, signin
from wearlog.people.cleaning import clean
from wearlog.people.models import Role, Session, User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.people.roles import Permission, allows, require

OWN_FIELDS = frozenset({"name", "email", "units", "language", "gets_mail"})
"""The fields that people may change of their own account, besides the password."""


@transaction.atomic
def save_person(*, by: User | None, at: datetime, user: User, password: str | None = None) -> User:
    """Add or change a person; `password` None leaves it (a new person then signs in by link).
    People change their own name, mail, units and password; the rest is the owner's.

    Deactivating an account ends its sessions for good: once it is active again, every phone has to sign in
    anew. A new password ends every session of the person and voids their unused sign-in links.

    Raises NotAllowed for another's account or role, Refused for a weak password, a name that is taken, or a
    change that would leave the mill without an owner.
    """
    # All rows: two owners who switch each other off at once must not both succeed.
    # (`no_key`: inserts into the audit trail, whose rows refer to a person, need not wait for this lock.)
    stored = {each.pk: each for each in User.objects.select_for_update(no_key=True).order_by("pk")}
    before = stored.get(user.pk) if user.pk is not None else None
    # Permissions are checked on the stored row: `by` may be the same, already changed object as `user`.
    actor = stored.get(by.pk) if by is not None else None
    if by is not None and actor is None:
        raise NotAllowed(_("Your account is gone. Ask the owner of the mill."))
    _require(actor, before, user)
    user.username = user.username.strip()
    if any(each.username.lower() == user.username.lower() for each in stored.values() if each.pk != user.pk):
        raise Refused(
            _("Somebody already signs in as %(username)s. Choose another name.")
            % {"username": user.username},
            field="username",
        )
    if user.email:
        user.email = user.email.strip()
    if before is None:
        user.joined_at = user.joined_at or at
        if not user.password:
            user.set_unusable_password()
    else:
        user.password = before.password  # only the argument changes it
        user.session_generation = before.session_generation
    if password is not None:
        _set_password(user, password)
    clean(user)
    _keep_an_owner(user, before)
    if before is not None and before.is_active and not user.is_active:
        user.session_generation += 1  # also ends a sign-in that is in progress
    user.save()
    if not user.is_active or password is not None:
        signin.void_links(user, at=at)
        sessions.drop(list(Session.objects.filter(user=user)))
    audit.write(
        at=at,
        by=by,
        action="add" if before is None else "change" if password is None else "change with password",
        record=user,
        old=audit.snapshot(before) if before is not None else None,
        new=audit.snapshot(user),
    )
    return user


def _require(actor: User | None, before: User | None, user: User) -> None:
    if allows(actor, Permission.OWN):
        return
    if actor is None or before is None or actor.pk != before.pk or not actor.is_active:
        require(actor, Permission.OWN)
    old, new = audit.snapshot(before or user), audit.snapshot(user)
    if any(old[name] != new[name] for name in old if name not in OWN_FIELDS):
        raise NotAllowed(
            _("You can change your name, mail, units, language and password. Ask the owner for the rest.")
        )


def _set_password(user: User, password: str) -> None:
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise Refused(" ".join(error.messages), field="password") from error
    user.set_password(password)


def _keep_an_owner(user: User, before: User | None) -> None:
    if before is None or before.role != Role.OWNER or not before.is_active:
        return
    if user.role == Role.OWNER and user.is_active:
        return
    if not User.objects.filter(role=Role.OWNER, is_active=True).exclude(pk=user.pk).exists():
        raise Refused(_("This is the last owner. Make somebody else owner first."), field="role")
