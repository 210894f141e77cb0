"""The track record: what the forecast would have said 30, 60 and 90 days before each edge reached its limit.

The past is replayed with the same loader as forecasts use, from the log as it stood at the end of each day,
so that no later knowledge can leak in. Only every fifteenth day is replayed, so that one reading of the log
serves all edges and all three lead times: "30 days ahead" means 30 to 44 days ahead.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from wearlog.calc import choice, conformal
from wearlog.calc.candidates import PRESENT
from wearlog.calc.conformal import LEAD_DAYS, Forward, History, JudgedFactors, RangeFactors
from wearlog.calc.track import Promise, Summary, summary
from wearlog.forecasts.edges import EdgeKey, Edges
from wearlog.forecasts.track import replays
from wearlog.forecasts.track.reached import Reached, reached_edges
from wearlog.forecasts.track.replays import EdgeForecast
from wearlog.history.cache import VersionCache
from wearlog.history.log import Log, load_log
from wearlog.history.record import range_factors_on, record_as_of

LEADS = (30, 60, 90)
STEP_DAYS = 15
"""Days between replays; all lead times are multiples of it."""


@dataclass(frozen=True, kw_only=True)
class Tracked:
    """An edge that reached its limit, and for each lead time the day of the forecast and what it said. A lead
    time is absent if the edge was not in use that long before."""

    reached: Reached
    forecasts: Mapping[int, tuple[date, EdgeForecast]]


@dataclass(frozen=True, kw_only=True)
class TrackRecord:
    """edges: in the order in which they reached their limits. leads: a summary for each lead time. forward:
    how often ranges held as given, and if corrected by what this record then showed; both of the models that
    had a say by then. chosen: which have one in a forecast for the day after `as_of`. learned: the factors
    that this record asks for in a forecast for the day after `as_of`, and the numbers of edges behind them.
    in_force: the factors of forecasts actually used on that day. type_codes: by key, of the types that have
    factors of their own in either. replayed: the number of days replayed, and missing: the number of days
    still to be replayed."""

    as_of: date
    edges: tuple[Tracked, ...]
    leads: Mapping[int, Summary]
    forward: Forward
    chosen: choice.Judged
    learned: JudgedFactors
    in_force: RangeFactors
    type_codes: Mapping[int, str]
    replayed: int
    missing: int


_KEPT: VersionCache[tuple[date, date | None, bool], TrackRecord] = VersionCache("track record", most=1)


def track_record(*, as_of: date, since: date | None = None, stored_only: bool = False) -> TrackRecord:
    """Replay the past as it is in the log of `as_of`, for edges that reached their limits from `since` on
    (None: all). Reads only.

    Stored replays are used while they match the log; missing ones are computed, which takes seconds for each
    year. With `stored_only` stored replays are used unchecked and missing ones left out, which is quick. The
    answer is cached in the process until the log changes; within a transaction nothing is cached."""

    def make() -> TrackRecord:
        log = load_log()
        past = Past.of(log, as_of, since or date.min)
        forecasts = replays.stored(log, past.days, checked=not stored_only)
        if not stored_only:
            forecasts |= {
                day: replays.replay(record_as_of(log, day)) for day in past.days if day not in forecasts
            }
        return _track_record(past, forecasts)

    return _KEPT.get(
        (as_of, since, stored_only), make, keep=lambda made: made.missing == 0, one_at_a_time=True
    )


@dataclass(frozen=True, eq=False)
class Past:
    """The edges and days to replay. every: all lives that reached their limits. chosen: those to report on.
    days: the days to replay, in order."""

    as_of: date
    now: Edges
    every: Sequence[Reached]
    chosen: Sequence[Reached]
    days: Sequence[date]
    in_force: RangeFactors

    @classmethod
    def of(cls, log: Log, as_of: date, since: date = date.min) -> Past:
        now = Edges(record_as_of(log, as_of))
        every = reached_edges(now)
        chosen = [one for one in every if one.came >= since]
        days = {day for one in chosen for day in _days(one).values()} | _days_to_judge(chosen, as_of)
        in_force = range_factors_on(log, as_of + timedelta(days=1))
        return cls(as_of, now, every, chosen, sorted(days), in_force)


@dataclass(frozen=True)
class Lessons:
    """What a record asks for in a forecast for the day after its own. chosen: who speaks, and why. judged: by
    how much the ends of what they say are moved; its factors have the weights of `chosen`. histories: what
    they would have said on each day by what was known then."""

    chosen: choice.Judged
    judged: JudgedFactors
    histories: Sequence[History]


def learned_from(past: Past, forecasts: Mapping[date, Mapping[EdgeKey, EdgeForecast]]) -> Lessons:
    day = past.as_of.toordinal() + 1
    told = _told(past.now, past.every, forecasts)
    chosen = choice.judged_on(day, told)
    histories = choice.histories(told)
    judged = conformal.learned(conformal.scores_on(day, histories))
    weights = {} if chosen.weights == choice.ALONE else chosen.weights
    return Lessons(chosen, replace(judged, factors=replace(judged.factors, weights=weights)), histories)


def _track_record(past: Past, forecasts: Mapping[date, Mapping[EdgeKey, EdgeForecast]]) -> TrackRecord:
    edges = tuple(
        Tracked(
            reached=one,
            forecasts={
                lead: (day, forecasts[day][one.key])
                for lead, day in _days(one).items()
                if one.key in forecasts.get(day, {}) and day >= one.begun
            },
        )
        for one in past.chosen
    )
    lessons = learned_from(past, forecasts)
    learned = lessons.judged
    types = past.now.record.types
    return TrackRecord(
        as_of=past.as_of,
        edges=edges,
        leads={lead: summary(_promises(edges, lead)) for lead in LEADS},
        forward=conformal.forward(lessons.histories),
        chosen=lessons.chosen,
        learned=learned,
        in_force=past.in_force,
        type_codes={key: types[key].code for key in {**learned.factors.own, **past.in_force.own}},
        replayed=len(forecasts),
        missing=len(past.days) - len(forecasts),
    )


def step_before(day: date) -> date:
    """The last day with a replay, on or before the given day."""
    return date.fromordinal(day.toordinal() // STEP_DAYS * STEP_DAYS)


def _days(one: Reached) -> dict[int, date]:
    found = {lead: step_before(one.came - timedelta(days=lead)) for lead in LEADS}
    return {lead: day for lead, day in found.items() if day >= one.begun}


def _days_to_judge(reached: Sequence[Reached], as_of: date) -> set[date]:
    """The day whose forecast is used to judge edges that have not reached their limits yet."""
    return {step_before(as_of - timedelta(days=LEAD_DAYS))} if reached else set()


def _promises(edges: Iterable[Tracked], lead: int) -> list[Promise]:
    promises = []
    for one in edges:
        if lead in one.forecasts:
            day, forecast = one.forecasts[lead]
            promises.append(
                Promise(
                    made_on=day.toordinal(),
                    came=one.reached.came.toordinal(),
                    range=forecast.range,
                    lumped=None if forecast.lumped is None else forecast.lumped.toordinal(),
                )
            )
    return promises


def _told(
    now: Edges, reached: Sequence[Reached], replays: Mapping[date, Mapping[EdgeKey, EdgeForecast]]
) -> list[choice.Told]:
    """All forecasts of the replays for each edge, for each life that reached its limit and for the present
    one."""
    told = []
    begun: dict[EdgeKey, date] = {}
    for one in reached:
        forecasts = _forecasts(one.key, replays, one.begun, one.came)
        told.append(
            choice.Told(
                forecasts=forecasts,
                kind=now.record.parts[one.key[0]].type_id,
                came=one.came.toordinal(),
                known_on=one.known_on.toordinal(),
            )
        )
        begun[one.key] = max(begun.get(one.key, one.known_on), one.known_on) + timedelta(days=1)
    record = now.record
    for edge in now.used.values():
        part = record.parts[edge.key[0]]
        since = begun.get(edge.key)
        if since is not None and not any(
            day >= since and edge.key in of_day for day, of_day in replays.items()
        ):
            continue
        ended = part.retired_on
        if ended is None and now.last_of(part.id) is not edge:
            removed = edge.fittings[-1].removed
            ended = None if removed is None else record.day_of(removed)
        forecasts = _forecasts(edge.key, replays, since or date.min, date.max)
        told.append(
            choice.Told(
                forecasts=forecasts,
                kind=part.type_id,
                ended=None if ended is None else ended.toordinal(),
            )
        )
    return told


def _forecasts(
    key: EdgeKey, replays: Mapping[date, Mapping[EdgeKey, EdgeForecast]], since: date, until: date
) -> tuple[tuple[float, choice.Ranges], ...]:
    found = []
    for day, of_day in replays.items():
        one = of_day[key] if key in of_day and since <= day < until else None
        if one is not None and one.range is not None:
            found.append((float(day.toordinal()), {PRESENT: one.range, **one.others}))
    return tuple(found)
