"""How instants and days read in a sentence, in the mill's zone."""

from __future__ import annotations

from datetime import date, datetime

from wearlog.people.models import Mill


def day_of(instant: datetime) -> date:
    """The day of an instant in the mill's zone."""
    return instant.astimezone(Mill.current().zone).date()


def when(instant: datetime) -> str:
    """`5 March 2026, 14:05` in the mill's zone."""
    local = instant.astimezone(Mill.current().zone)
    return f"{local.day} {local:%B %Y, %H:%M}"
