"""The common part of the hours and tonnes triggers: an interval that is used up as the season goes on."""

from __future__ import annotations

from collections.abc import Callable

from django.utils.translation import gettext as _

from wearlog.forecasts.outlook import Path
from wearlog.forecasts.triggers import why
from wearlog.forecasts.triggers.case import Case
from wearlog.forecasts.triggers.trips import Trip, on


def interval(
    case: Case,
    every: float,
    used: float,
    at: float | None,
    path: Path | None,
    show: Callable[[float, str], str],
    *,
    earlier: float,
) -> Trip:
    """The trip of an interval `every`, of which `used` has passed: in the past at the instant `at`, or if
    that is None in the future along the path. `show` formats an amount in a system of units. `earlier` is the
    amount in `used` that was done before the log."""
    record = case.record
    dates = on(record.day_of(at)) if at is not None else case.dates(path, every - used)
    text = sentence(
        used=show(used, record.units),
        every=show(every, record.units),
        left=show(every - used, record.units),
        since=why.since_new(show(earlier, record.units)) if earlier else case.since,
        route=case.outlook.route(case.thing.press_id, dates["due"]),
        about=case.about(dates),
        reached="" if at is None else why.day(record.day_of(at), record.as_of),
    )
    return Trip(why=text, at=at, used=used / every, **dates)


def sentence(
    *,
    used: str,
    every: str,
    left: str,
    since: str,
    route: str,
    about: str,
    reached: str,
) -> str:
    """The sentence of an interval in hours or seed. `reached` is the day of a past trip (else empty), `about`
    the day of a future one."""
    values = {"used": used, "every": every, "left": left, "since": since, "route": route, "about": about}
    if reached:
        return _("%(used)s of %(every)s %(since)s: reached on %(day)s.") % {**values, "day": reached}
    if about:
        return _("%(used)s of %(every)s %(since)s; %(left)s left; %(route)s %(about)s.") % values
    return _("%(used)s of %(every)s %(since)s; %(left)s left; no plan or pace to tell the day from.") % values
