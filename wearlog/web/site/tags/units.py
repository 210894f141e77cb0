"""Quantities in the reader's own units: `{{ run.seed_kg|mass:request.units }}`. Stored values are SI."""

from __future__ import annotations

from decimal import Decimal

from django import template

from wearlog.calc import units

register = template.Library()

Quantity = Decimal | float | None


@register.filter
def mass(kg: Quantity, system: str = "") -> str:
    """Kilograms as `453.6 kg` or `12.35 t`, for a US reader pounds or short tons."""
    return units.show_mass(kg, str(system))


@register.filter
def dimension(mm: Quantity, system: str = "") -> str:
    """Millimetres as `10.25 mm`, for a US reader inches."""
    return units.show_length(mm, str(system))


@register.filter
def temperature(celsius: Quantity, system: str = "") -> str:
    return units.show_temperature(celsius, str(system))


@register.filter
def hours(value: Quantity, system: str = "") -> str:
    """Decimal hours as `7.5 h`."""
    return units.show_hours(value, str(system))


@register.filter
def hours_per_tonne(value: Quantity, system: str = "") -> str:
    """Hours per tonne, for a US reader hours per short ton."""
    return units.show_per_tonne(value, str(system))


@register.filter
def throughput(kg_per_h: Quantity, system: str = "") -> str:
    return units.show_rate(kg_per_h, str(system))


@register.filter
def wear_rate(mm_per_t: Quantity, system: str = "") -> str:
    """Wear per tonne as `0.011 mm/t`, for a US reader thousandths of an inch per short ton."""
    return units.show_wear_rate(mm_per_t, str(system))
