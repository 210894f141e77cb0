"""Recurring work, and whether it is needed more often as time goes on (`calc.recurrence`).

A thing is a part if the work was done on one (named by the work, or in its position at the time), else the
press. Things of one kind with the same work are analysed together, and each separately. Ages are seed through
the part since its first fitting or its last rebuild, or through the press since its first run. Observation
ends with the record, or when the part came off for the last time. Work done before the first seed is not
counted.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from wearlog.calc import recurrence as repeated
from wearlog.compare.ages import ages_of
from wearlog.history.record import Record
from wearlog.service.work import RENEWS

REPEATED = ("polish", "clean", "adjust", "repair")
"""Work that recurs on the same thing. A flip or a replacement ends a life instead; inspecting, greasing and
gauging follow the calendar."""
INCIDENTS = ("plugged", "tripped")
"""Incidents that recur on a press."""


class Trend(StrEnum):
    NEVER = "never"
    ONCE = "once"
    NO_TREND_FITTED = "no trend fitted"
    """All events are at the end of the observation, so that no curve fits."""
    FASTER = "faster"
    RARER = "rarer"
    EVEN = "even"
    """The range of the power law's shape includes 1: both faster and rarer are possible."""


@dataclass(frozen=True)
class EventAnalysis:
    """The analysis of the events of some things. Rates are per tonne of seed; ages are in tonnes."""

    trend: Trend
    events: int
    seen_t: float
    """Tonnes of observation, summed over the things."""
    rate: repeated.EventRate
    laplace_z: float | None
    law: repeated.PowerLaw
    every_t_now: float | None
    """Tonnes between events at the end of the longest observation, by the fitted law."""

    @property
    def every_t(self) -> float | None:
        return self.seen_t / self.events if self.events else None


@dataclass(frozen=True)
class Thing:
    """A part or a press with its events. `part_id` is None for a press."""

    name: str
    press_id: int
    part_id: int | None
    unit: repeated.Unit
    analysis: EventAnalysis


@dataclass(frozen=True)
class Repeat:
    """One work (or incident) on one kind of thing. `action` is empty for an incident, `incident` for a
    work."""

    action: str
    incident: str
    kind: str
    """The part kind; empty for presses."""
    things: tuple[Thing, ...]
    analysis: EventAnalysis
    mean: tuple[repeated.MeanPoint, ...]
    """The mean cumulative function over all things; ages in tonnes."""


def analyse_events(units: list[repeated.Unit]) -> EventAnalysis:
    """Analyse the events of units (ages in tonnes) together. Needs at least one unit."""
    rate = repeated.event_rate(units)
    law = repeated.power_law(units)
    trend = Trend.EVEN
    if rate.events < 2:
        trend = Trend.ONCE if rate.events else Trend.NEVER
    elif law.shape is None or law.shape_range.low is None or law.shape_range.high is None:
        trend = Trend.NO_TREND_FITTED
    elif law.shape_range.low > 1:
        trend = Trend.FASTER
    elif law.shape_range.high < 1:
        trend = Trend.RARER
    now = law.intensity(max(each.end for each in units))
    return EventAnalysis(
        trend,
        rate.events,
        rate.age,
        rate,
        repeated.laplace(units),
        law,
        1 / now if now else None,
    )


@dataclass(frozen=True)
class _Event:
    key: tuple[str, str, str]
    """Work, incident and kind."""
    part_id: int | None
    press_id: int
    at: float


def repeats(record: Record) -> list[Repeat]:
    """Every work and incident that was recorded at least once, the most frequent first. Things of the same
    kind on which it was never done are included, since they have been observed without events."""
    events = [*_works(record), *_incidents(record)]
    done: dict[tuple[str, str, str], dict[tuple[int, int], list[float]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for event in events:
        done[event.key][event.part_id or 0, event.press_id if event.part_id is None else 0].append(event.at)
    watched = {kind: _watched(record, kind) for kind in {key[2] for key in done}}
    found = []
    for key, by_thing in done.items():
        things = _things(record, key[2], watched[key[2]], by_thing)
        if things and any(thing.analysis.events for thing in things):
            units = [thing.unit for thing in things]
            found.append(
                Repeat(*key, tuple(things), analyse_events(units), tuple(repeated.mean_cumulative(units)))
            )
    return sorted(found, key=lambda one: (-one.analysis.events, one.action, one.incident, one.kind))


def _works(record: Record) -> Iterable[_Event]:
    for service in record.services:
        if service.action not in REPEATED:
            continue
        part_id = service.part_id
        if part_id is None and service.position_id is not None:
            part_id = _in_place(record, service.position_id, service.done)
        if part_id is not None and part_id in record.fittings_of:
            kind = record.types[record.parts[part_id].type_id].kind
            yield _Event((service.action, "", kind), part_id, service.press_id, service.done)
        else:
            yield _Event((service.action, "", ""), None, service.press_id, service.done)


def _incidents(record: Record) -> Iterable[_Event]:
    for incident in record.incidents:
        if incident.kind in INCIDENTS:
            yield _Event(("", incident.kind, ""), None, incident.press_id, incident.happened)


def _in_place(record: Record, position_id: int, at: float) -> int | None:
    for row in record.fittings:
        if row.position_id == position_id and row.fitted <= at and (row.removed is None or at <= row.removed):
            return row.part_id
    return None


def _watched(record: Record, kind: str) -> list[tuple[int, int]]:
    """The things of a kind under observation, as (part, 0) or (0, press)."""
    if not kind:
        return [(0, press) for press in record.presses]
    return [(part, 0) for part in record.fittings_of if record.types[record.parts[part].type_id].kind == kind]


def _things(
    record: Record,
    kind: str,
    watched: list[tuple[int, int]],
    done: dict[tuple[int, int], list[float]],
) -> list[Thing]:
    made = []
    if not kind:
        for _none, press_id in watched:
            at = np.array([*done.get((0, press_id), []), record.end])
            seed = record.timelines[press_id].kilograms(0.0, at).sum(axis=1) / 1000
            made += _lives_of_thing(record.presses[press_id].label, press_id, None, seed, [0.0])
        return made
    rebuilt: dict[int, list[float]] = defaultdict(list)
    for service in record.services:
        if service.action in RENEWS and service.part_id is not None:
            rebuilt[service.part_id].append(service.done)
    wanted: list[tuple[int, float]] = []
    for part, _none in watched:
        wanted += [(part, at) for at in (*done.get((part, 0), []), record.end)]
        wanted += [(part, at) for at in rebuilt[part]]
    seed = ages_of(record, wanted).seed_kg / 1000
    place = 0
    for part, _none in watched:
        count = len(done.get((part, 0), [])) + 1
        ages, place = seed[place : place + count], place + count
        starts, place = seed[place : place + len(rebuilt[part])], place + len(rebuilt[part])
        press_id = record.positions[record.fittings_of[part][-1].position_id].press_id
        made += _lives_of_thing(record.parts[part].code, press_id, part, ages, [0.0, *starts.tolist()])
    return made


def _lives_of_thing(
    name: str, press_id: int, part: int | None, ages: repeated.Floats, starts: list[float]
) -> list[Thing]:
    """A thing for each life; lives begin at `starts`. `ages` are those of the events; the last is the end of
    the observation."""
    made = []
    end = float(ages[-1])
    for number, start in enumerate(starts):
        upto = starts[number + 1] if number + 1 < len(starts) else end
        if upto - start <= 0:
            continue
        inside = [float(age) - start for age in ages[:-1] if start < age <= upto]
        unit = repeated.unit(inside, upto - start)
        made.append(Thing(name, press_id, part, unit, analyse_events([unit])))
    return made
