"""What a role may do. Roles are data; code asks for a permission and never for a role."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.people.models import Role, User
from wearlog.people.refusals import NotAllowed

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


class Permission(StrEnum):
    VIEW = "view"
    """Read every page."""
    LOG = "log"
    """Runs, readings, work, incidents, notes; void one's own entries of the last two days."""
    MAINTAIN = "maintain"
    """Presses, parts, rules, energy sources, job cards; correct and void any entry, release a held lot."""
    OWN = "own"
    """People, money, the season plan, import and export, settings."""


MAY: dict[str, frozenset[Permission]] = {
    Role.VIEWER: frozenset({Permission.VIEW}),
    Role.OPERATOR: frozenset({Permission.VIEW, Permission.LOG}),
    Role.MAINTAINER: frozenset({Permission.VIEW, Permission.LOG, Permission.MAINTAIN}),
    Role.OWNER: frozenset(Permission),
}

CANT: dict[Permission, _StrPromise] = {
    Permission.VIEW: _("As %(role)s you can't sign in."),
    Permission.LOG: _("As %(role)s you can't log runs and work."),
    Permission.MAINTAIN: _("As %(role)s you can't change parts, rules and other people's entries."),
    Permission.OWN: _("As %(role)s you can't change people, money, the plan and settings."),
}


def allows(user: User | None, permission: Permission | str) -> bool:
    """Whether the person has the permission. `None` is the command line on the mill's own machine, which has
    all."""
    if user is None:
        return True
    return user.is_active and Permission(permission) in MAY.get(user.role, frozenset())


def require(user: User | None, permission: Permission | str) -> None:
    """Raise NotAllowed where the person's role lacks the permission."""
    permission = Permission(permission)
    if allows(user, permission):
        return
    if user is not None and not user.is_active:
        raise NotAllowed(
            gettext("%(user)s may no longer sign in. Ask the owner of the mill.") % {"user": user}
        )
    said = str(CANT[permission]) % {"role": Role(user.role).label if user else ""}
    ask = gettext("Ask the owner of the mill for the role that can.")
    raise NotAllowed(f"{said} {ask}")
