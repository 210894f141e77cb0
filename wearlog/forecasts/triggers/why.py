"""The one sentence that explains a date, with the numbers that it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _

from wearlog.calc.units import show_hours, show_length, show_mass
from wearlog.people.dates import written
from wearlog.service.models import IncidentKind
from wearlog.service.spoken import noun_of


def day(value: date, as_of: date) -> str:
    """`3 September`, with the year where it is not the as-of day's."""
    return written(value, "j F" if value.year == as_of.year else "j F Y")


def since(action: str, on: date | None, as_of: date, *, of_part: bool) -> str:
    """What counting started at: work where `action` is given, else the part's or the press's beginning."""
    if on is None:
        return _("since the beginning")
    if action:
        return _("since the last %(work)s on %(day)s") % {"work": noun_of(action), "day": day(on, as_of)}
    if of_part:
        return _("since it was first fitted on %(day)s") % {"day": day(on, as_of)}
    return _("since the press's start on %(day)s") % {"day": day(on, as_of)}


def work_on(action: str, on: date, as_of: date) -> str:
    """`the rebuild on 3 May`."""
    return _("the %(work)s on %(day)s") % {"work": noun_of(action), "day": day(on, as_of)}


def route(basis: str, *, begins: date, as_of: date, beyond_plan: bool) -> str:
    """Along what the future is taken: plan, pace, or the plan and then the pace."""
    if basis == "plan":
        if beyond_plan:
            return _("at the plan and then the pace of earlier years")
        if begins > as_of:
            return _("at the plan from %(day)s") % {"day": day(begins, as_of)}
        return _("at the plan")
    return {
        "same_weeks": _("at the pace of the same weeks in earlier years"),
        "recent_pace": _("at the recent pace"),
    }.get(basis, "")


def about(due: date, early: date | None, late: date | None, as_of: date) -> str:
    """`about 3 September (27 August to 12 September)`; the range is left out where it is the day itself."""
    text = _("about %(day)s") % {"day": day(due, as_of)}
    if early is not None and late is None:
        return text + _(" (from %(early)s on)") % {"early": day(early, as_of)}
    if early is None or late is None or early == late:
        return text
    return text + _(" (%(early)s to %(late)s)") % {"early": day(early, as_of), "late": day(late, as_of)}


def counted(
    *,
    used: str,
    every: str,
    left: str,
    since: str,
    route: str,
    about: str,
    reached: str,
) -> str:
    """An interval in hours or seed. `reached` is the day of a past trip, `about` that of one to come."""
    values = {"used": used, "every": every, "left": left, "since": since, "route": route, "about": about}
    if reached:
        return _("%(used)s of %(every)s %(since)s: reached on %(day)s.") % {**values, "day": reached}
    if about:
        return _("%(used)s of %(every)s %(since)s; %(left)s left; %(route)s %(about)s.") % values
    return _("%(used)s of %(every)s %(since)s; %(left)s left; no plan or pace to tell the day from.") % values


def days_counted(*, every: float, since: str, due: date, as_of: date) -> str:
    values = {"every": f"{every:g}", "since": since, "day": day(due, as_of)}
    if due <= as_of:
        return _("%(every)s days %(since)s were over on %(day)s.") % values
    return _("%(every)s days %(since)s are over on %(day)s.") % values


def days_beyond(*, every: float, since: str) -> str:
    return _("%(every)s days %(since)s end after the last day of the calendar.") % {
        "every": f"{every:g}",
        "since": since,
    }


def days_unknown() -> str:
    return _("Nothing is recorded from which the days could be counted.")


def season(
    *,
    how: str,
    crop: str,
    next_crop: str,
    on: date | None,
    last_run_on: date | None,
    since: str,
    as_of: date,
) -> str:
    """The end of a crop's season, by how it is known."""
    if on is None:
        return _("No %(crop)s has been pressed %(since)s, and none is planned.") % {
            "crop": crop,
            "since": since,
        }
    values = {
        "crop": crop,
        "next": next_crop,
        "day": day(on, as_of),
        "last": day(last_run_on, as_of) if last_run_on else "",
    }
    return {
        "changed": _("The press changed from %(crop)s to %(next)s on %(day)s."),
        "quiet": _("The last %(crop)s was pressed on %(last)s, 14 days before %(day)s."),
        "plan": _("The plan changes from %(crop)s to %(next)s about %(day)s."),
        "quiet_to_come": _("The last day of %(crop)s known so far is %(last)s; 14 days later is %(day)s."),
        "last_year": _("No plan; the last %(crop)s season ended a year before %(day)s."),
    }[how] % values


def incident_words(kind: str) -> str:
    """`metal in the seed`, in the language that is active; a kind that is not known stays as it is."""
    return str(IncidentKind(kind).label) if kind in IncidentKind.values else kind


def incident(*, kind: str, on: date, as_of: date) -> str:
    return _("An incident (%(kind)s) on %(day)s asks for it at once.") % {
        "kind": incident_words(kind),
        "day": day(on, as_of),
    }


def no_incident(*, kinds: Sequence[str], since: str) -> str:
    listed = ", ".join(incident_words(kind) for kind in kinds)
    return _("No incident (%(kinds)s) %(since)s.") % {"kinds": listed, "since": since}


def drift(*, loss: float, on: date, causes: Sequence[str], as_of: date) -> str:
    """Causes stand in the trade's order: the seed is suspected first, wear last."""
    names = {"seed": _("seed"), "settings": _("settings"), "fouling": _("fouling"), "wear": _("wear")}
    return _(
        "Output per hour has been %(loss)s %% below its own usual since %(day)s, same crop, die and speed; "
        "look in this order: %(causes)s."
    ) % {
        "loss": f"{100 * loss:.0f}",
        "day": day(on, as_of),
        "causes": ", ".join(names[cause] for cause in causes),
    }


def no_drift(*, judged: int) -> str:
    return _("Output per hour holds: no drift in the last %(judged)s runs.") % {"judged": judged}


def drift_unknown(reason: str) -> str:
    return _("Whether output per hour drifts can't be told yet: %(reason)s.") % {"reason": reason}


def mass(kg: float, units: str) -> str:
    return show_mass(kg, units)


def length(mm: float, units: str) -> str:
    return show_length(mm, units)


def hours(value: float, units: str) -> str:
    return show_hours(value, units)
