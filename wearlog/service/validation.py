"""Questions about gauge values that look wrong but may be right.

The limits are the project's own choice. A step of more than half of the distance from new to the limit is
queried, but never one of 0.3 mm or less, since a caliper on a dirty flight repeats to about 0.05 mm (from
memory).
"""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext as _

from wearlog.equipment.models import Part
from wearlog.people.refusals import Doubt
from wearlog.people.words import figure, when
from wearlog.service.entries import NewMeasurement
from wearlog.service.models import Measurement, Phase

SMALLEST_STEP_MM = 0.3
INCH_MM = 25.4


def about_step(
    given: NewMeasurement, *, part: Part, edge: str, measured_at: datetime, exclude: int | None = None
) -> list[Doubt]:
    """A question if a value is far from the last one at the same place, or, for the first, from the new
    size."""
    # After work the size may be anything; a pin gauge gives only a bound.
    if given.phase == Phase.AFTER or given.bound:
        return []
    value = float(given.value_mm)
    new, limit = part.part_type.new_mm, part.part_type.limit_mm
    budget = abs(float(limit) - float(new)) if new is not None and limit is not None else None
    gauges = Measurement.objects.not_voided().filter(
        part=part, edge=edge, place=given.place, bound="", measured_at__lt=measured_at
    )
    if exclude is not None:
        gauges = gauges.exclude(pk=exclude)
    last = gauges.order_by("-measured_at", "-pk").first()
    if last is not None:
        base = float(last.value_mm)
        allowed = max(SMALLEST_STEP_MM, budget / 2 if budget is not None else 0.2 * base)
        said = _("the last value there was %(base)s mm on %(when)s") % {
            "base": figure(base, ".6g"),
            "when": when(last.measured_at),
        }
    elif new is not None:
        base = float(new)
        allowed = max(1.0, 3 * budget if budget is not None else 0.2 * base)
        said = _("new it is %(base)s mm") % {"base": figure(base, ".6g")}
    else:
        return []
    if abs(value - base) <= allowed:
        return []
    inches = _(" It looks like inches.") if abs(value * INCH_MM - base) <= allowed else ""
    return [
        Doubt(
            "large_step",
            _("%(value)s mm on %(part)s is far off: %(said)s.%(inches)s Is the value right?")
            % {"value": figure(value, ".6g"), "part": part, "said": said, "inches": inches},
            "value_mm",
        )
    ]
