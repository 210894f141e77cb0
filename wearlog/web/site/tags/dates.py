"""Replaces the filter `date` in every template (see `TEMPLATES` in the settings)."""

from __future__ import annotations

from datetime import date, datetime

from django import template
from django.template import defaultfilters

from wearlog.people.dates import pattern_of

register = template.Library()


@register.filter("date", expects_localtime=True, is_safe=False)
def written(value: date | datetime | str | None, pattern: str | None = None) -> str:
    """Django's `date` filter, with the day of the month as the reader's language writes it."""
    return str(defaultfilters.date(value, pattern if pattern is None else pattern_of(pattern, value)))
