"""`{% load schedule_state %}{% schedule_banner %}`: words above each page while reminders stand still."""

from __future__ import annotations

from django import template
from django.template.context import RequestContext
from django.utils import timezone

from wearlog.reminders.schedule import health

register = template.Library()


@register.inclusion_tag("web/site/parts/schedule_banner.html", takes_context=True)
def schedule_banner(context: RequestContext) -> dict[str, object]:
    """Empty for people who aren't signed in, and while all is well. One query."""
    user = context["request"].user
    if not user.is_authenticated:
        return {}
    at = timezone.now()
    beats = health.heartbeats()
    return {
        "user": user,
        "stands_still": not beats.is_well(at=at),
        "paused": beats.doubt is not None,
        "since": beats.stands_still_since(at=at),
    }
