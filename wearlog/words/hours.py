"""The hours of a run and of a press's meter in words: their source, and what no run explains."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.calc.meters import Remark, Source
from wearlog.history.record import Record
from wearlog.people.words import in_language, when
from wearlog.runs.hours import RunHours, StretchOfRun, moment
from wearlog.runs.models import Reading

SHOWN = 12
"""At most this many stretches and doubtful readings are shown on a page, the latest first."""
WORTH_TELLING_H = 0.1
"""Unlogged hours below this, between two readings, are rounding."""


def source_of(hours: RunHours, system: str, zone: ZoneInfo) -> list[str]:
    """The source of a run's hours, with remarks, as sentences; none for a run that goes on."""
    if hours.source == Source.GOES_ON or hours.hours_h is None:
        return []
    shown = {"hours": units.show_hours(hours.hours_h, system)}
    if hours.source == Source.WRITTEN:
        return [_("%(hours)s, as written down.") % shown]
    if hours.source == Source.CLOCK:
        return [
            _("%(hours)s by the clock, from its start to its end.") % shown,
            *_remarks(hours, system, zone),
        ]
    if hours.remark == Remark.SCALED:
        said = [_("%(hours)s by the meter.") % shown, *_remarks(hours, system, zone)]
        if hours.written_h is not None:
            said.append(_("Written down: %(hours)s.") % {"hours": units.show_hours(hours.written_h, system)})
        return said
    return [_("%(hours)s by the meter, read at its end.") % shown, *_remarks(hours, system, zone)]


def _remarks(hours: RunHours, system: str, zone: ZoneInfo) -> list[str]:
    if hours.stretch is None:
        return []
    values = {
        **_span(hours.stretch, zone),
        "advance": units.show_hours(hours.stretch.advance_h, system),
        "left": units.show_hours(hours.left_h, system),
    }
    if hours.remark == Remark.NONE_LEFT:
        words = _(
            "The meter advanced %(advance)s from %(opens)s to %(closes)s, and the other runs in that time "
            "took all of it. Look whether one of them, or a reading, is wrong."
        )
    elif hours.remark == Remark.HELD_DOWN:
        words = _(
            "The meter left %(left)s for it between %(opens)s and %(closes)s, more than the clock from its "
            "start to its end. The rest is unlogged."
        )
    elif hours.remark == Remark.SCALED:
        words = _(
            "The runs from %(opens)s to %(closes)s say more hours than the %(advance)s that the meter "
            "advanced. This press counts by its meter, so all of them are scaled down alike."
        )
    elif hours.remark == Remark.STOOD_STILL:
        words = _(
            "The meter was read at its end, and had not moved since %(opens)s. It tells nothing of this run."
        )
    elif hours.remark == Remark.RAN_AHEAD:
        words = _(
            "The meter was read at its end, but from %(opens)s to %(closes)s it ran ahead of the clock "
            "(%(advance)s). It tells nothing of this run."
        )
    else:
        words = _("The meter advanced %(advance)s from %(opens)s to %(closes)s.")
    return [words % values]


def _span(stretch: StretchOfRun, zone: ZoneInfo) -> dict[str, str]:
    return {"opens": when(moment(stretch.opens), zone), "closes": when(moment(stretch.closes), zone)}


@dataclass(frozen=True)
class DoubtfulReading:
    """A reading that was left out as a slip, or that begins a count without a recorded new meter."""

    text: str
    reading_id: int


@dataclass(frozen=True)
class MeterLines:
    """What the meter of a press counted and no run explains.

    unlogged_h: the total, including small amounts without a line of their own. counts: whether it counts for
    parts. stretches, unusable: a sentence for each stretch with unlogged hours, and for each unusable one,
    latest first; `more` is the number of those left out."""

    unlogged_h: float
    counts: bool
    stretches: tuple[str, ...]
    more: int
    unusable: tuple[str, ...]
    readings: tuple[DoubtfulReading, ...]

    def __bool__(self) -> bool:
        return bool(self.stretches or self.unusable or self.readings)


def meter_lines(record: Record, press_id: int, system: str, *, every: bool = False) -> MeterLines:
    """At most one query. With `every` each stretch has a line, otherwise only the latest ones."""
    found = record.hours[press_id].stretches
    unlogged = np.flatnonzero(found.usable & (found.unlogged_h >= WORTH_TELLING_H))[::-1]
    unusable = np.flatnonzero(~found.usable)[::-1]
    most = max(unlogged.size, unusable.size) if every else SHOWN

    def words(number: int, text: str) -> str:
        return text % {
            **_span(
                StretchOfRun(
                    float(found.opens[number]),
                    float(found.closes[number]),
                    float(found.advance_h[number]),
                    float(found.press_h[number]),
                ),
                record.zone,
            ),
            "advance": units.show_hours(float(found.advance_h[number]), system),
            "runs": units.show_hours(float(found.press_h[number]), system),
            "unlogged": units.show_hours(float(found.unlogged_h[number]), system),
        }

    by_stretch = _("%(opens)s to %(closes)s: meter %(advance)s, runs %(runs)s, unlogged %(unlogged)s.")
    without = _("%(opens)s to %(closes)s: the meter advanced %(advance)s, the runs say %(runs)s.")
    return MeterLines(
        unlogged_h=float(found.unlogged_h.sum()),
        counts=record.presses[press_id].by_meter,
        stretches=tuple(words(number, by_stretch) for number in unlogged[:most].tolist()),
        more=max(unlogged.size - most, 0) + max(unusable.size - most, 0),
        unusable=tuple(words(number, without) for number in unusable[:most].tolist()),
        readings=_doubtful(record, press_id, system),
    )


def _doubtful(record: Record, press_id: int, system: str) -> tuple[DoubtfulReading, ...]:
    believed, rows = record.hours[press_id].readings, record.readings.get(press_id)
    if rows is None:
        return ()
    slips, begins = ~believed.believed, believed.unannounced
    places = np.flatnonzero(slips | begins)[::-1][:SHOWN].tolist()
    if not places:
        return ()
    slip = _("%(meter)s h on %(when)s is left out as a slip: the readings around it don't agree with it.")
    count = _(
        "From %(meter)s h on %(when)s another count begins, though no new meter was logged: the readings "
        "before don't agree with it."
    )
    ours = {moment(float(rows.at[place])): place for place in places}
    made = []
    found = Reading.objects.not_voided().filter(press_id=press_id, read_at__in=list(ours))
    for reading in found.order_by("-read_at"):
        text = (slip if slips[ours[reading.read_at]] else count) % {
            "meter": in_language(units.plain(reading.meter_h)),
            "when": when(reading.read_at, record.zone),
        }
        made.append(DoubtfulReading(text, reading.pk))
    return tuple(made)
