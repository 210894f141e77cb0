"""Throughput charts as pages show them: picture, the sentence above it, and the table beside it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.formats import get_format
from django.utils.safestring import SafeString
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.history.cache import VersionCache
from wearlog.history.record import Record
from wearlog.service.models import Service
from wearlog.web.drawing.charts.months import DAY_S, ticks
from wearlog.web.drawing.charts.over_time import OverTime, spec
from wearlog.web.drawing.charts.render import chart_svg
from wearlog.web.drawing.charts.throughput import MARKED, SeasonThroughput, season_throughput
from wearlog.web.drawing.charts.usual import UsualChart, usual_chart
from wearlog.words.actions import noun_of

LEAST_DAYS = 14
"""The shortest time that the axis spans."""


@dataclass(frozen=True)
class ThroughputChart:
    """`unit` is that of the seed. `season` has the numbers of the table."""

    svg: SafeString
    sentence: str
    unit: str
    season: SeasonThroughput
    usual: UsualChart | None
    """The same output against what is usual for the press; None without a run."""


_CHARTS: VersionCache[tuple[object, ...], ThroughputChart] = VersionCache("throughput charts", most=128)


def throughput_chart(
    record: Record, press_id: int, *, name: str, system: str, services: Iterable[Service]
) -> ThroughputChart:
    """The chart of one press up to the record's day, made once for each version of the log, language and
    system of units. `name`: what the press is called. `services`: as for `season_throughput`."""
    key = (press_id, name, system, get_language(), record.as_of, record.zone)
    return _CHARTS.get(key, lambda: _chart(record, press_id, name, system, services))


def _chart(
    record: Record, press_id: int, name: str, system: str, services: Iterable[Service]
) -> ThroughputChart:
    season = season_throughput(record, press_id, services)
    sentence = sentence_of(season, system)
    label = _("Throughput of %(press)s over time. %(sentence)s") % {"press": name, "sentence": sentence}
    shown = drawn(record, season, system)
    usual = usual_chart(record, press_id, season, shown, name=name, system=system)
    svg = chart_svg(spec(shown), label=label)
    return ThroughputChart(svg, sentence, units.mass_unit(system), season, usual)


def drawn(record: Record, season: SeasonThroughput, system: str) -> OverTime:
    """What the picture of the season shows, in the reader's units."""
    points = season.points
    right = record.end if not season.is_earlier else points[-1].end + 2 * DAY_S
    left = min(points[0].start if points else right, right - LEAST_DAYS * DAY_S)
    left -= (right - left) * 0.03
    factor = 1 / float(units.KG["lb"]) if units.is_us(system) else 1.0
    last = ""
    if points:
        last = _("last %(rate)s") % {"rate": _number(points[-1].kg_per_h, system)}
    return OverTime(
        points=points,
        heights=[point.kg_per_h * factor for point in points],
        crops=[rate.crop for rate in season.crops],
        work=season.work,
        ticks=ticks(record, left, right),
        left=left,
        right=right,
        last=last,
        today="" if season.is_earlier else _("today"),
        words_of={action: noun_of(action) for action in MARKED},
        decimal_comma=get_format("DECIMAL_SEPARATOR") == ",",
    )


def sentence_of(season: SeasonThroughput, system: str) -> str:
    """`Season 2026/27, run by run: rapeseed 16.4 kg/h (14.9 to 17.6), linseed 12.6 kg/h.`"""
    if not season.points:
        return _("No run yet with weighed seed and hours: the first one gives a point.")
    rates = []
    for rate in season.crops:
        values = {
            "crop": rate.crop,
            "rate": units.show_rate(rate.kg_per_h, system),
            "low": _number(rate.low, system),
            "high": _number(rate.high, system),
        }
        words = _("%(crop)s %(rate)s (%(low)s to %(high)s)") if rate.points > 1 else _("%(crop)s %(rate)s")
        rates.append(words % values)
    names = {"season": season.season, "this": season.this_season, "rates": ", ".join(rates)}
    names["by"] = _("week by week") if season.weekly else _("run by run")
    if season.is_earlier:
        return _("Nothing to show yet in season %(this)s. Season %(season)s, %(by)s: %(rates)s.") % names
    return _("Season %(season)s, %(by)s: %(rates)s.") % names


def _number(kg_per_h: float, system: str) -> str:
    """The rate without its unit."""
    return units.show_rate(kg_per_h, system).rpartition(" ")[0]
