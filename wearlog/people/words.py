"""Formats instants, days and numbers for sentences, in the mill's time zone and the active language."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils.formats import date_format, get_format
from django.utils.translation import gettext as _

from wearlog.people.dates import written
from wearlog.people.models import Mill


def day_of(instant: datetime) -> date:
    """The day of an instant in the mill's zone."""
    return instant.astimezone(Mill.current().zone).date()


def when(instant: datetime, zone: ZoneInfo | None = None) -> str:
    """`5 March 2026, 14:05` in the mill's zone, which is queried unless `zone` is given."""
    return date_format(instant.astimezone(zone or Mill.current().zone), _("j F Y, H:i"))


def day(given: date) -> str:
    """`5 March 2026`, as people write a day in a sentence."""
    return written(given, "j F Y")


def in_language(plain: str) -> str:
    """A plain number with the decimal separator of the active language."""
    return plain.replace(".", str(get_format("DECIMAL_SEPARATOR")))


def figure(value: float, spec: str) -> str:
    """A number by a format such as `.3g`, with the decimal separator of the active language."""
    return in_language(f"{value:{spec}}")
