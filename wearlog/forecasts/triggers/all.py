"""The triggers of a rule, one function each; the wear limit stands apart, in `limits`.

A trigger takes a `Case` and answers with a `Trip`, or None where the rule does not name it. To add one:
write such a function, put it into `ALL`, name it in `trips.TRIGGERS`, and give it a sentence in `why`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cached_property

from wearlog.forecasts.outlook import TENTH, Outlook, Path
from wearlog.forecasts.record import Record
from wearlog.forecasts.rows import IncidentRow, RuleRow
from wearlog.forecasts.things import Thing, crops_of, place_at
from wearlog.forecasts.triggers import counting, why
from wearlog.forecasts.triggers.drift import drift_of
from wearlog.forecasts.triggers.season import season_end
from wearlog.forecasts.triggers.trips import Dates, Trip, on


@dataclass(frozen=True)
class Case:
    """One rule for one thing, with all that is known."""

    record: Record
    outlook: Outlook
    rule: RuleRow
    thing: Thing
    start: counting.Start

    @cached_property
    def crops(self) -> list[int] | None:
        """The crops that the thing's part is used for; None for all."""
        return crops_of(self.record.crops, self.thing.type)

    @cached_property
    def hours_path(self) -> Path | None:
        return self.outlook.hours_path(self.thing.press_id, self.crops)

    @cached_property
    def seed_path(self) -> Path | None:
        return self.outlook.seed_path(self.thing.press_id, self.thing.share, self.crops)

    @property
    def since(self) -> str:
        at = self.start.at
        return why.since(
            self.start.service.action if self.start.service else "",
            None if at is None else self.record.day_of(at),
            self.record.as_of,
            of_part=self.thing.part is not None,
        )

    @property
    def since_instant(self) -> float:
        return float("-inf") if self.start.at is None else self.start.at

    def dates(self, path: Path | None, left: float) -> Dates:
        """Due, early and late day of an amount that is left; early by a faster pace, late by a slower one."""
        if path is None:
            return {"due": None, "early": None, "late": None}
        return {"due": path.day(left), "early": path.day(left, TENTH), "late": path.day(left, -TENTH)}

    def about(self, dates: Dates) -> str:
        if dates["due"] is None:
            return ""
        return why.about(dates["due"], dates["early"], dates["late"], self.record.as_of)


def hours(case: Case) -> Trip | None:
    every = case.rule.every_h
    if every is None:
        return None
    used = counting.hours_in(case.record, case.thing, case.since_instant, case.record.end)
    at = counting.hours_reached(case.record, case.thing, case.since_instant, every)
    trip, left = _counted(case, "hours", every, used, at, case.hours_path, why.hours), every - used
    return replace(trip, left_h=left)


def tonnes(case: Case) -> Trip | None:
    every = case.rule.every_kg
    if every is None:
        return None
    used = counting.kilograms_in(case.record, case.thing, case.since_instant, case.record.end)
    at = counting.kilograms_reached(case.record, case.thing, case.since_instant, every)
    trip, left = _counted(case, "tonnes", every, used, at, case.seed_path, why.mass), every - used
    return replace(trip, left_kg=left)


def _counted(
    case: Case,
    trigger: str,
    every: float,
    used: float,
    at: float | None,
    path: Path | None,
    show: Callable[[float, str], str],
) -> Trip:
    """An interval in hours or seed: passed at an instant of the log, or to come along the path."""
    record = case.record
    if at is not None:
        dates = on(record.day_of(at))
    else:
        dates = case.dates(path, every - used)
    text = why.counted(
        used=show(used, record.units),
        every=show(every, record.units),
        left=show(every - used, record.units),
        since=case.since,
        route=case.outlook.route(case.thing.press_id, dates["due"]),
        about=case.about(dates),
        reached="" if at is None else why.day(record.day_of(at), record.as_of),
    )
    return Trip(trigger=trigger, why=text, at=at, used=used / every, **dates)


def days(case: Case) -> Trip | None:
    every, record = case.rule.every_days, case.record
    if every is None:
        return None
    if case.start.at is None:
        return Trip(trigger="days", why=why.days_unknown(), known=False, basis="none")
    begun = record.day_of(case.start.at)
    try:
        due = begun + timedelta(days=every)
    except OverflowError:  # past the end of the calendar: never
        return Trip(trigger="days", why=why.days_beyond(every=every, since=case.since))
    return Trip(
        trigger="days",
        why=why.days_counted(every=every, since=case.since, due=due, as_of=record.as_of),
        used=(record.as_of - begun).days / every,
        **on(due),
    )


def season(case: Case) -> Trip | None:
    crop, record = case.rule.after_crop, case.record
    if crop is None:
        return None
    start = case.since_instant
    end = season_end(record, case.outlook, case.thing, crop, start)
    text = why.season(
        how=end.how,
        crop=record.crops[crop],
        next_crop="" if end.next_crop is None else record.crops[end.next_crop],
        on=end.on,
        last_run_on=end.last_run_on,
        since=case.since,
        as_of=record.as_of,
    )
    if end.on is None:
        return Trip(trigger="season", why=text)
    tomorrow = record.as_of + timedelta(days=1)
    if end.at is not None:
        return Trip(trigger="season", why=text, at=end.at, used=1.0, **on(end.on))
    return Trip(
        trigger="season",
        why=text,
        due=end.on,
        early=max(end.on - timedelta(days=end.miss_days), tomorrow),
        late=end.on + timedelta(days=end.miss_days),
    )


def incident(case: Case) -> Trip | None:
    kinds, record = case.rule.after_incident, case.record
    if not kinds:
        return None
    start = case.since_instant
    for one in record.incidents:
        if one.happened > start and one.kind in kinds and _hit(case.thing, one):
            day = record.day_of(one.happened)
            return Trip(
                trigger="incident",
                why=why.incident(kind=one.kind, on=day, as_of=record.as_of),
                at=one.happened,
                used=1.0,
                cycle=f"incident-{one.id}",
                **on(day),
            )
    return Trip(trigger="incident", why=why.no_incident(kinds=kinds, since=case.since))


def _hit(thing: Thing, incident: IncidentRow) -> bool:
    """Whether an incident was where the thing was: at its position, or anywhere on its press if not said."""
    place = place_at(thing, incident.happened)
    if place is None or place.press_id != incident.press_id:
        return False
    return place.position_id is None or incident.position_id in (None, place.position_id)


def drift(case: Case) -> Trip | None:
    return drift_of(case.record, case.thing, case.since_instant) if case.rule.on_drift else None


ALL: tuple[Callable[[Case], Trip | None], ...] = (hours, tonnes, days, season, drift, incident)
