"""`{% load backup_state %}{% backup_state %}`: owners read when the last backup was made, or what failed."""

from __future__ import annotations

from django import template
from django.template.context import RequestContext
from django.utils import timezone

from wearlog.logbook.backups import making, status
from wearlog.people.models import User
from wearlog.people.roles import Permission, allows

register = template.Library()


@register.inclusion_tag("web/site/parts/backup_state.html", takes_context=True)
def backup_state(context: RequestContext) -> dict[str, object]:
    """Empty for people who aren't owners. Reads one small file, never the backup folder, whose disk may
    hang."""
    user = context["request"].user
    if not isinstance(user, User) or not allows(user, Permission.OWN):
        return {}
    now = status.read(making.data_dir())
    return {"status": now, "old": now.is_old(at=timezone.now())}
