"""The drift trigger: output per hour that falls below the press's own earlier output in the same class.

Only runs after the work that last reset the rule count. What is a class, and which runs are left out, stands
in `wearlog.forecasts.paces`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _

from wearlog.calc.drift import CAUSES, throughput_drift
from wearlog.forecasts.paces import paces
from wearlog.forecasts.things import Thing
from wearlog.forecasts.triggers import why
from wearlog.forecasts.triggers.case import Case
from wearlog.forecasts.triggers.trigger import Trigger
from wearlog.forecasts.triggers.trips import Trip, on
from wearlog.history.record import Record
from wearlog.history.rows import Floats, Ints
from wearlog.service.models import Rule


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
    found = paces(record, [(span.press_id, max(start, span.start), span.end) for span in thing.spans])
    return found.kg_per_h, found.class_of_run, found.ends


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
