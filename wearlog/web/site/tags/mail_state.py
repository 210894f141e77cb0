"""`{% load mail_state %}{% mail_banner %}`: a line above each page where reminders don't get through."""

from __future__ import annotations

from django import template
from django.template.context import RequestContext
from django.utils import timezone

from wearlog.reminders.channels.mail import addresses

register = template.Library()


@register.inclusion_tag("web/site/parts/mail_banner.html", takes_context=True)
def mail_banner(context: RequestContext) -> dict[str, object]:
    """Empty for people who aren't signed in; owners see all addresses, others their own."""
    user = context["request"].user
    if not user.is_authenticated:
        return {}
    stops, stuck_since = addresses.trouble_visible_to(user, timezone.now())
    return {"stops": stops, "stuck_since": stuck_since, "user": user}
