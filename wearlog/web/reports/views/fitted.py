"""What was pressed with each press, die, edge, size and screw, and how available presses were."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.columns import headline, per_ton, shown
from wearlog.compare.fitted import BY, FittedLine, PressTime, lines, press_times
from wearlog.people.roles import Permission
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.parted import Parted
from wearlog.words.kinds import kind_words


def _words(by: str) -> str:
    """What lines are of, a kind of part by its own name."""
    others = (("press", _("press")), ("edge", _("edge")), ("size", _("size of the die")))
    return dict(others).get(by) or kind_words(by)


@needs(Permission.VIEW)
def fitted(request: MillRequest) -> HttpResponse:
    by, on, system = request.GET.get("by", ""), timezone.localdate(), str(request.units)
    by = by if by in BY else "size"
    found = Parted.of(request, "rows", lines(by, on=on))
    times = Parted.of(request, "presses", press_times(on=on))
    heads = _heads(system)
    context = {
        "by": by,
        "by_words": _words(by),
        "choices": [(name, _words(name)) for name in BY],
        "lines": found,
        "heads": heads,
        "rows": [(_name(by, line, system), line.crop, _cells(line, system, heads)) for line in found.rows],
        "times": times,
        "time_rows": [_time_cells(one, system) for one in times.rows],
    }
    return render(request, "web/reports/fitted.html", context)


def _name(by: str, line: FittedLine, system: str) -> str:
    return units.show_length(float(line.name), system) if by == "size" else line.name


def _heads(system: str) -> tuple[str, ...]:
    ton = _("short ton") if units.is_us(system) else "t"
    return (
        _("Seed (%(unit)s)") % {"unit": ton},
        _("Runs"),
        headline(system),
        _("Oil yield (%)"),
        _("Oil left in the cake (%)"),
        _("kWh/%(unit)s") % {"unit": ton},
        _("Hours of work/%(unit)s") % {"unit": ton},
        _("Stand-still (h/%(unit)s)") % {"unit": ton},
    )


def _cells(line: FittedLine, system: str, heads: tuple[str, ...]) -> list[tuple[str, str]]:
    us = units.is_us(system)
    residual = shown(line.residual_pct, 1, system)
    if line.estimated and line.residual_pct is not None:
        residual = _("%(share)s (estimated)") % {"share": residual}
    cells = (
        shown(line.tonnes / (per_ton(1.0, us) or 1.0), 2, system),
        str(line.runs),
        shown(per_ton(line.hours_per_t, us), 2, system),
        shown(line.oil_pct, 1, system),
        residual,
        *(
            shown(per_ton(rate, us), 2, system)
            for rate in (line.kwh_per_t, line.work_h_per_t, line.stood_h_per_t)
        ),
    )
    return list(zip(heads, cells, strict=True))


def _time_cells(one: PressTime, system: str) -> tuple[object, ...]:
    def share(value: float | None) -> str:
        return shown(None if value is None else 100 * value, 1, system)

    found = one.found
    return (
        (one.press_id, one.press_name),
        share(found.by_time),
        share(found.operational),
        str(found.failures),
        shown(found.between_failures_h, 0, system),
        shown(found.to_restoration_h, 1, system),
    )
