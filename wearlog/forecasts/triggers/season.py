"""The season trigger: the end of a crop's season, which is the next run of another crop on the press, or 14
days after the crop's last run."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.utils.translation import gettext as _

from wearlog.forecasts.outlook import Outlook
from wearlog.forecasts.things import Thing
from wearlog.forecasts.triggers import why
from wearlog.forecasts.triggers.case import Case
from wearlog.forecasts.triggers.trigger import Trigger
from wearlog.forecasts.triggers.trips import Trip, on
from wearlog.history.record import Record
from wearlog.history.rows import Floats, Ints, PlanRow
from wearlog.service.models import Rule

QUIET_DAYS = 14
PLAN_MISS_DAYS = 7  # usual error of a planned change: our assumption, no source
YEAR_MISS_DAYS = 21  # usual difference between two years' changes: our assumption, no source
DAY = 86400.0


@dataclass(frozen=True)
class SeasonEnd:
    """`how` the end is known. Past: "changed" (another crop), "quiet" (14 days without). To come: "plan",
    "quiet_to_come", "last_year" (as then). Not known: "none"."""

    how: str
    on: date | None = None
    at: float | None = None
    miss_days: int = 0
    last_run_on: date | None = None
    next_crop: int | None = None


def season_end(record: Record, outlook: Outlook, thing: Thing, crop: int, start: float) -> SeasonEnd:
    """The first end of the crop's season, since `start`, during which the thing worked; else the next
    expected."""
    ended, last_run = _ended(record, thing, crop, start)
    if ended is not None:
        return ended
    coming = [row for row in record.plan if row.press_id == thing.press_id and row.end_on > record.as_of]
    if outlook.season(thing.press_id) is None and last_run is None:
        return SeasonEnd("none")
    planned = _planned(record, coming, crop, last_run)
    if planned is not None:
        return planned
    if last_run is not None:
        quiet_on = last_run + timedelta(days=QUIET_DAYS)
        return SeasonEnd("quiet_to_come", max(quiet_on, record.as_of), last_run_on=last_run)
    if coming:
        return SeasonEnd("none")
    return _as_last_year(record, thing.press_id, crop)


def _ended(record: Record, thing: Thing, crop: int, start: float) -> tuple[SeasonEnd | None, date | None]:
    """The first end of a season so far; without one, the day of the crop's last run."""
    found: list[SeasonEnd] = []
    last: float | None = None
    for span in thing.spans:
        runs = record.runs.get(span.press_id)
        if runs is None:
            continue
        since = max(start, span.start)
        mine = np.flatnonzero((runs.crop == crop) & (runs.end > since) & (runs.start < span.end))
        if mine.size == 0:
            continue
        end, instant, other = first_end(runs.start, runs.end, runs.crop, mine, crop, record.end)
        if instant is None:
            last = end
        elif other is None:
            on = record.day_of(end) + timedelta(days=QUIET_DAYS)
            found.append(SeasonEnd("quiet", on, instant, last_run_on=record.day_of(end)))
        else:
            on = record.day_of(instant)
            found.append(SeasonEnd("changed", on, instant, last_run_on=record.day_of(end), next_crop=other))
    if found:
        return min(found, key=lambda one: one.at or 0.0), None
    return None, None if last is None else record.day_of(last)


def first_end(
    start: Floats, end: Floats, crops: Ints, mine: Ints, crop: int, now: float
) -> tuple[float, float | None, int | None]:
    """For the crop's runs `mine` (indexes, at least one): the end of the run after which its season first
    ended, the instant from which that was certain (None: not yet), and the other crop, if one followed."""
    others = np.flatnonzero(crops != crop)
    same = start[crops == crop]
    follows = np.searchsorted(start[others], start[mine], side="left")
    change = np.append(start[others], np.inf)[follows]
    again = np.append(same, np.inf)[np.searchsorted(same, start[mine], side="right")]
    quiet = end[mine] + QUIET_DAYS * DAY
    quiet = np.where((quiet < again) & (quiet <= now), quiet, np.inf)
    trips = np.minimum(change, quiet)
    first = int(np.argmin(trips))
    if not np.isfinite(trips[first]):
        return float(end[mine].max()), None, None
    if quiet[first] < change[first]:
        return float(end[mine][first]), float(quiet[first]), None
    before = end[mine][start[mine] <= change[first]]
    return float(before.max()), float(change[first]), int(crops[others[follows[first]]])


def _planned(record: Record, coming: list[PlanRow], crop: int, last_run: date | None) -> SeasonEnd | None:
    """The next planned change from the crop to another, or 14 days after its last planned day."""
    tomorrow = record.as_of + timedelta(days=1)
    mine = sorted((row for row in coming if row.crop == crop), key=lambda row: row.start_on)
    others = sorted((row for row in coming if row.crop != crop), key=lambda row: (row.start_on, row.crop))
    if last_run is None:
        if not mine:
            return None
        begin = max(mine[0].start_on, tomorrow)
        over = mine[0].end_on
    else:
        begin, over = tomorrow, last_run
    for row in mine:
        if row.start_on <= over + timedelta(days=QUIET_DAYS):
            over = max(over, row.end_on)
    quiet_on = max(over + timedelta(days=QUIET_DAYS), tomorrow)
    for row in others:
        if row.end_on < begin:
            continue
        change_on = max(row.start_on, begin)
        if change_on <= quiet_on:
            return SeasonEnd("plan", change_on, miss_days=PLAN_MISS_DAYS, next_crop=row.crop)
    if not mine and not others:
        return None
    miss = 0 if over == last_run else PLAN_MISS_DAYS
    return SeasonEnd("quiet_to_come", quiet_on, miss_days=miss, last_run_on=over)


def _as_last_year(record: Record, press_id: int, crop: int) -> SeasonEnd:
    """Without a plan: the season ends a year after an earlier season's end, the first such day still
    ahead."""
    runs = record.runs.get(press_id)
    if runs is None:
        return SeasonEnd("none")
    mine = np.flatnonzero(runs.crop == crop)
    ends = []
    while mine.size:
        _, instant, _ = first_end(runs.start, runs.end, runs.crop, mine, crop, record.end)
        if instant is None:
            break
        ends.append(record.day_of(instant))
        mine = mine[runs.start[mine] > instant]
    ahead = [day + timedelta(days=365) for day in ends if day + timedelta(days=365) > record.as_of]
    return SeasonEnd("last_year", min(ahead), miss_days=YEAR_MISS_DAYS) if ahead else SeasonEnd("none")


def trips(case: Case, crop: int) -> Trip:
    record = case.record
    end = season_end(record, case.outlook, case.thing, crop, case.since_instant)
    text = sentence(
        how=end.how,
        crop=record.crops[crop],
        next_crop="" if end.next_crop is None else record.crops[end.next_crop],
        on=end.on,
        last_run_on=end.last_run_on,
        since=case.since,
        as_of=record.as_of,
    )
    if end.on is None:
        return Trip(why=text)
    tomorrow = record.as_of + timedelta(days=1)
    if end.at is not None:
        return Trip(why=text, at=end.at, used=1.0, **on(end.on))
    return Trip(
        why=text,
        due=end.on,
        early=max(end.on - timedelta(days=end.miss_days), tomorrow),
        late=end.on + timedelta(days=end.miss_days),
    )


def sentence(
    *,
    how: str,
    crop: str,
    next_crop: str,
    on: date | None,
    last_run_on: date | None,
    since: str,
    as_of: date,
) -> str:
    """The sentence for the end of a crop's season, by `how` it is known."""
    if on is None:
        return _("No %(crop)s has been pressed %(since)s, and none is planned.") % {
            "crop": crop,
            "since": since,
        }
    values = {
        "crop": crop,
        "next": next_crop,
        "day": why.day(on, as_of),
        "last": why.day(last_run_on, as_of) if last_run_on else "",
    }
    return {
        "changed": _("The press changed from %(crop)s to %(next)s on %(day)s."),
        "quiet": _("The last %(crop)s was pressed on %(last)s, 14 days before %(day)s."),
        "plan": _("The plan changes from %(crop)s to %(next)s about %(day)s."),
        "quiet_to_come": _("The last day of %(crop)s known so far is %(last)s; 14 days later is %(day)s."),
        "last_year": _("No plan; the last %(crop)s season ended a year before %(day)s."),
    }[how] % values


def summary(rule: Rule, system: str) -> list[str]:
    return [_("after the season of %s") % rule.after_crop]


TRIGGER = Trigger(name="season", column="after_crop", trips=trips, summary=summary)
