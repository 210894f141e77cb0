"""Questions about gauge values that look wrong but may be right.

The limits are the project's own choice. A step of more than half of the distance from new to the limit is
queried, but never one of 0.3 mm or less, since a caliper on a dirty flight repeats to about 0.05 mm (from
memory). Where a slip of the hand would explain it, half of such a step is enough.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from wearlog.calc.slips import Proposal, Slip, proposals
from wearlog.equipment.models import Part
from wearlog.people.refusals import Doubt
from wearlog.people.words import figure, when
from wearlog.service.entries import NewMeasurement
from wearlog.service.models import Measurement, Phase

LARGE_STEP = "large_step"
"""The code of the question."""
SMALLEST_STEP_MM = 0.3
SMALLEST_SLIP_MM = 0.1
REPEATS_TO_MM = 0.05
MOST_PROPOSED = 2
LOOKED_BACK = 4
"""How many of the latest readings tell how fast the edge wore lately."""


def about_step(
    given: NewMeasurement, *, part: Part, edge: str, measured_at: datetime, exclude: int | None = None
) -> list[Doubt]:
    """A question if a value is far from what the last ones at the same place lead to expect, or, for the
    first, from the new size. After work the size may be anything: then only where a slip explains it."""
    if given.bound:  # a pin gauge gives only a bound
        return []
    value, after = float(given.value_mm), given.phase == Phase.AFTER
    new, limit = part.part_type.new_mm, part.part_type.limit_mm
    budget = abs(float(limit) - float(new)) if new is not None and limit is not None else None
    gauges = Measurement.objects.not_voided().filter(
        part=part, edge=edge, place=given.place, bound="", measured_at__lt=measured_at
    )
    if exclude is not None:
        gauges = gauges.exclude(pk=exclude)
    last = list(gauges.order_by("-measured_at", "-pk")[:LOOKED_BACK])
    if last:
        base = float(last[0].value_mm)
        half = budget / 2 if budget is not None else 0.2 * base
        allowed, slip_from = max(SMALLEST_STEP_MM, half), max(SMALLEST_SLIP_MM, half / 2)
        expected = base + _wear_since(last, measured_at, most=half)
        said = _("the last value there was %(base)s mm on %(when)s") % {
            "base": figure(base, ".6g"),
            "when": when(last[0].measured_at),
        }
    elif new is not None:
        base = expected = float(new)
        allowed = slip_from = max(1.0, 3 * budget if budget is not None else 0.2 * base)
        said = _("new it is %(base)s mm") % {"base": figure(base, ".6g")}
    else:
        return []
    if after:
        allowed = slip_from = max(1.0, 3 * budget if budget is not None else 0.2 * base)
    off = min(abs(value - base), abs(value - expected))
    if off <= slip_from:
        return []
    close = allowed if off > allowed else max(REPEATS_TO_MM, slip_from / 4)
    grows = new is None or limit is None or limit > new
    meant = proposals(given.value_mm, expected=expected, close=close, new=new, grows=grows)
    if after:
        meant = tuple(each for each in meant if each.slip in (Slip.POINT, Slip.INCHES))
    if not meant and (after or off <= allowed):
        return []
    return [
        Doubt(
            LARGE_STEP,
            _("%(value)s mm on %(part)s is far off: %(said)s.%(inches)s Is the value right?")
            % {
                "value": figure(value, ".6g"),
                "part": part,
                "said": said,
                "inches": _(" It looks like inches.") if _is_inches(meant) else _meant(meant),
            },
            "value_mm",
            again=True,
            typed=given.value_mm,
            instead=tuple(each.value for each in meant[:MOST_PROPOSED]),
        )
    ]


def _wear_since(last: Sequence[Measurement], until: datetime, *, most: float) -> float:
    """What the size changed by since the latest reading if it went on as between the readings, the latest
    first; at most `most` mm either way."""
    begun, ended = last[-1], last[0]
    between = ended.measured_at - begun.measured_at
    if between < timedelta(days=1):
        return 0.0
    pace = float(ended.value_mm - begun.value_mm) / between.total_seconds()
    return max(-most, min(most, pace * (until - ended.measured_at).total_seconds()))


def _is_inches(meant: Sequence[Proposal]) -> bool:
    return bool(meant) and meant[0].slip is Slip.INCHES


def _meant(meant: Sequence[Proposal]) -> str:
    if not meant:
        return ""
    return _(" Did you mean %(value)s mm?") % {"value": figure(float(meant[0].value), ".6g")}
