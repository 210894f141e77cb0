"""The drift trigger: output per hour that falls below the press's own earlier output in the same class.

Only runs after the work that last reset the rule count. A class is crop, size of the die on the press, speed
band and moisture class. Runs that do not tell output per hour (`RunColumns.tell_output`) are left out, since
guessed seed does not measure it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
from django.utils.translation import gettext as _

from wearlog.calc.drift import CAUSES, throughput_drift
from wearlog.forecasts.things import Thing
from wearlog.forecasts.triggers import why
from wearlog.forecasts.triggers.case import Case
from wearlog.forecasts.triggers.trigger import Trigger
from wearlog.forecasts.triggers.trips import Trip, on
from wearlog.history.record import Record
from wearlog.history.rows import Floats, Ints
from wearlog.service.models import Rule

SPEED_BAND_HZ = 5.0
MOISTURE_BAND_PCT = 1.0


def trips(case: Case, enabled: bool) -> Trip:
    """Tripped at the end of the run from which on output has been below its limit; else not tripped or
    unknown."""
    record = case.record
    rate, class_of_run, ends = _runs_of(record, case.thing, case.since_instant)
    found = throughput_drift(rate, class_of_run)
    if found.state == "unknown":
        return Trip(why=cannot_tell(found.reason), known=False, basis="none")
    if found.since is None:
        return Trip(why=holds(judged=found.judged), basis="measured")
    at = float(ends[found.since])
    day = record.day_of(at)
    text = fallen(loss=found.loss or 0.0, on=day, causes=CAUSES, as_of=record.as_of)
    return Trip(why=text, at=at, used=1.0, basis="measured", **on(day))


def _runs_of(record: Record, thing: Thing, start: float) -> tuple[Floats, Ints, Floats]:
    """Kilograms per hour, class and end of the runs while the thing was in place, in order of time."""
    rates, ends, classes = [np.zeros(0)], [np.zeros(0)], [np.zeros((4, 0))]
    for span in thing.spans:
        runs = record.runs.get(span.press_id)
        if runs is None:
            continue
        hours = record.run_hours(span.press_id)
        rows = np.flatnonzero(
            (runs.start >= max(start, span.start)) & (runs.start < span.end) & runs.tell_output(hours)
        )
        rates.append(runs.seed_kg[rows] / hours[rows])
        ends.append(runs.end[rows])
        bands = (
            runs.crop[rows],
            _die_sizes(record, span.press_id, runs.start[rows]),
            np.nan_to_num(np.round(runs.drive_hz[rows] / SPEED_BAND_HZ), nan=-1.0),
            np.nan_to_num(np.round(runs.moisture_pct[rows] / MOISTURE_BAND_PCT), nan=-1.0),
        )
        classes.append(np.stack(bands))
    return np.concatenate(rates), _numbered(np.concatenate(classes, axis=1)), np.concatenate(ends)


def _numbered(classes: Floats) -> Ints:
    """A number for each distinct column, shape (4, n) to (n,)."""
    number = np.zeros(classes.shape[1], dtype=np.int64)
    for row in classes:  # each row has few values, so that whole numbers are sorted instead of columns
        values, place = np.unique(row, return_inverse=True)
        if int(number.max(initial=0)) >= MOST_NUMBERED // max(values.size, 1):
            number = np.unique(number, return_inverse=True)[1]
        number = number * values.size + place
    return np.unique(number, return_inverse=True)[1].astype(np.int64)


MOST_NUMBERED = 2**62
"""Classes are numbered below this, so that whole numbers of 64 bits hold them."""


def _die_sizes(record: Record, press_id: int, instants: Floats) -> Floats:
    """The size of the die on the press at each instant, which must be in order; 0 where none is known."""
    sizes = np.zeros(instants.size)
    here = {position.id for position in record.positions.values() if position.press_id == press_id}
    for fitting in record.fittings:
        if fitting.position_id not in here:
            continue
        type_ = record.types[record.parts[fitting.part_id].type_id]
        if type_.kind != "die" or type_.size_mm is None:
            continue
        end = record.end if fitting.removed is None else fitting.removed
        first, after = np.searchsorted(instants, (fitting.fitted, end))
        sizes[first:after] = type_.size_mm
    return sizes


def fallen(*, loss: float, on: date, causes: Sequence[str], as_of: date) -> str:
    """Causes are listed in the order in which millers check them: seed first, wear last."""
    names = {"seed": _("seed"), "settings": _("settings"), "fouling": _("fouling"), "wear": _("wear")}
    return _(
        "Output per hour has been %(loss)s %% below its own usual since %(day)s, same crop, die and speed; "
        "look in this order: %(causes)s."
    ) % {
        "loss": f"{100 * loss:.0f}",
        "day": why.day(on, as_of),
        "causes": ", ".join(names[cause] for cause in causes),
    }


def holds(*, judged: int) -> str:
    return _("Output per hour holds: no drift in the last %(judged)s runs.") % {"judged": judged}


def cannot_tell(reason: str) -> str:
    return _("Whether output per hour drifts can't be told yet: %(reason)s.") % {"reason": reason}


def summary(rule: Rule, system: str) -> list[str]:
    return [_("when throughput drifts down")]


TRIGGER = Trigger(name="drift", column="on_drift", trips=trips, summary=summary)
