"""`{% load typing_state %}{% typing_banner %}`: says that mail waits while a person types up the past."""

from __future__ import annotations

from django import template
from django.template.context import RequestContext
from django.utils import timezone

from wearlog.reminders import typing_up

register = template.Library()


@register.inclusion_tag("web/site/parts/typing_banner.html", takes_context=True)
def typing_banner(context: RequestContext) -> dict[str, object]:
    return {"held": typing_up.held_for(context["request"].user, at=timezone.now())}
