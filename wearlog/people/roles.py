"""What a role may do. Roles are data; code asks for a permission and never for a role."""

from __future__ import annotations

from enum import StrEnum

from wearlog.people.models import Role, User
from wearlog.people.refusals import NotAllowed


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

NEEDS_WORDS: dict[Permission, str] = {
    Permission.VIEW: "sign in",
    Permission.LOG: "log runs and work",
    Permission.MAINTAIN: "change parts, rules and other people's entries",
    Permission.OWN: "change people, money, the plan and settings",
}


def allows(user: User | None, permission: Permission | str) -> bool:
    """Whether the person may. `None` is the command line of the mill's own machine, which may everything."""
    if user is None:
        return True
    return user.is_active and Permission(permission) in MAY.get(user.role, frozenset())


def require(user: User | None, permission: Permission | str) -> None:
    """Raise NotAllowed where the person's role lacks the permission."""
    permission = Permission(permission)
    if allows(user, permission):
        return
    if user is not None and not user.is_active:
        raise NotAllowed(f"{user} may no longer sign in. Ask the owner of the mill.")
    raise NotAllowed(
        f"As {Role(user.role).label if user else ''} you can't {NEEDS_WORDS[permission]}. "
        "Ask the owner of the mill for the role that can."
    )
