"""Quantities in the reader's own units: `{% load units %} ... {% mass run.seed_kg %}`.

Each tag takes the SI value (None shows a dash) and finds the unit system by itself: the signed-in person's,
else the mill's, else metric. `system_of(request)` is for views and forms.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import template
from django.http import HttpRequest

from wearlog.calc import units
from wearlog.people.models import Mill, Units

register = template.Library()
Number = Decimal | float | None


def system_of(request: HttpRequest | None) -> str:
    """`metric` or `us`; asked of the database once per request."""
    if request is None:
        return Mill.current().units or str(Units.METRIC)
    known = getattr(request, "units", None) or getattr(request, "unit_system", None)
    if known is None:
        user = getattr(request, "user", None)
        known = getattr(user, "units", "") or Mill.current().units or str(Units.METRIC)
        request.unit_system = known  # type: ignore[attr-defined]
    return str(known)


def _system(context: template.Context) -> str:
    return str(context.get("unit_system") or system_of(context.get("request")))


def given(value: Any) -> Number:
    """None for the empty text that a template makes of a missing name."""
    return None if value == "" else value


@register.simple_tag(takes_context=True)
def mass(context: template.Context, kg: Number) -> str:
    return units.show_mass(given(kg), _system(context))


@register.simple_tag(takes_context=True)
def length(context: template.Context, mm: Number) -> str:
    return units.show_length(given(mm), _system(context))


@register.simple_tag(takes_context=True)
def temperature(context: template.Context, celsius: Number) -> str:
    return units.show_temperature(given(celsius), _system(context))


@register.simple_tag(takes_context=True)
def hours(context: template.Context, value: Number) -> str:
    return units.show_hours(given(value), _system(context))


@register.simple_tag(takes_context=True)
def per_tonne(context: template.Context, value: Number, what: str = "h") -> str:
    return units.show_per_tonne(given(value), _system(context), what)


@register.simple_tag(takes_context=True)
def rate(context: template.Context, kg_per_h: Number) -> str:
    return units.show_rate(given(kg_per_h), _system(context))


@register.filter
def clock(value: Any) -> str:
    """Decimal hours as hours and minutes: 7.5 is 7:30."""
    return units.show_clock(value)


@register.filter
def percent(value: Any) -> str:
    return units.show_percent(value)
