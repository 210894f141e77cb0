"""Which edges reached their limit, on which day, and how that is known.

An edge has reached its limit if its last gauges are at or past it, if its part was retired as worn while
using that edge, or if it was turned or replaced as worn. An edge that was turned in place counts as worn
unless the work's finding gives another reason. With gauges, the day is found by interpolating wear over seed
between the last gauge below the limit and the first one past it. Without a gauge past the limit it is the day
on which the edge came off.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from wearlog.calc.track import crossing
from wearlog.forecasts.edges import SAME_WORK_S, Edge, EdgeKey, Edges
from wearlog.forecasts.outlook import Outlook
from wearlog.forecasts.triggers.limit import past_of
from wearlog.history.rows import PartRow, ServiceRow, TypeRow
from wearlog.service.work import ENDS_LIFE, RENEWS

OF_WEAR = re.compile(r"\b(worn|wear|limit)\b", re.IGNORECASE)
NOT_OF_WEAR = re.compile(
    r"\b(not|no|never|hardly|un)[ -]?(yet )?(worn|wear|at (the )?limit)\b", re.IGNORECASE
)


@dataclass(frozen=True, kw_only=True)
class Reached:
    """One life of an edge that reached its limit.

    begun: the day on which the life began (first fitted, or rebuilt). came: the day on which the limit was
    reached. known_on: the first day on which the log showed it. between: the days of the last gauge below the
    limit and the first past it, None where `came` is the day on which the edge came off. how: "gauged",
    "retired" or "turned".
    """

    key: EdgeKey
    part: str
    type: str
    kind: str
    begun: date
    came: date
    known_on: date
    between: tuple[date, date] | None
    how: str


@dataclass(frozen=True)
class _Life:
    """A life of an edge from new or a rebuild (`begun`) until it came off (`until`), with its gauges.

    `until` is None while it has not come off since it was last rebuilt."""

    begun: float
    until: float | None
    ended_by: ServiceRow | None
    instants: tuple[float, ...]
    worn: tuple[float, ...]


def reached_edges(edges: Edges) -> list[Reached]:
    """Every life of every edge that reached its limit, in order of the days on which it did."""
    outlook = Outlook(edges.record)
    found = [one for edge in edges.used.values() for one in _of_edge(edges, outlook, edge)]
    return sorted(found, key=lambda one: (one.came, one.part, one.key))


def _of_edge(edges: Edges, outlook: Outlook, edge: Edge) -> Iterator[Reached]:
    part = edges.record.parts[edge.key[0]]
    type_ = edges.record.types[part.type_id]
    if type_.new_mm is None or type_.limit_mm is None or type_.new_mm == type_.limit_mm:
        return
    lives = _lives(edges, edge, part, type_)
    for life in lives:
        came = _gauged(edges, outlook, edge, type_, life)
        if came is None:
            came = _came_off(edges, edge, part, life, last=life is lives[-1])
        if came is not None:
            day, known_on, between, how = came
            yield Reached(
                key=edge.key,
                part=part.code,
                type=type_.code,
                kind=type_.kind,
                begun=edges.record.day_of(life.begun),
                came=day,
                known_on=known_on,
                between=between,
                how=how,
            )


def _lives(edges: Edges, edge: Edge, part: PartRow, type_: TypeRow) -> list[_Life]:
    """The lives of an edge, from new or a rebuild to the next rebuild or its end, with their gauges; of
    several readings at one instant only the worst."""
    resets = [work for work in edge.works if work.action in RENEWS]
    bounds = [edge.fittings[0].fitted, *(work.done for work in resets)]
    ends = [*(_came_off_by(edge, work.done) for work in resets), _end_of(edges, edge, part)]
    worst: list[dict[float, float]] = [{} for _ in bounds]
    assert type_.new_mm is not None
    assert type_.limit_mm is not None
    sign = 1.0 if type_.limit_mm > type_.new_mm else -1.0
    for row in edge.measurements:
        if row.bound and (row.bound == "at_least") != (sign > 0):
            continue  # this pin check only says that the wear is less
        worn = sign * (row.value_mm - type_.new_mm)
        if row.bound and worn < abs(type_.limit_mm - type_.new_mm):
            continue
        number = sum(work.done < row.measured for work in resets)
        for index, work in enumerate(resets):
            if row.service_id == work.id:
                number = index if row.phase == "before" else index + 1
        gauges = worst[number]
        gauges[row.measured] = max(worn, gauges.get(row.measured, worn))
    return [
        _Life(
            begun=begun,
            until=None if until is None or until <= begun else until,
            ended_by=resets[index] if index < len(resets) else None,
            instants=tuple(sorted(worst[index])),
            worn=tuple(worst[index][at] for at in sorted(worst[index])),
        )
        for index, (begun, until) in enumerate(zip(bounds, ends, strict=True))
    ]


def _came_off_by(edge: Edge, rebuilt: float) -> float:
    """When an edge came off for a rebuild; one that was rebuilt on the press came off with the rebuild."""
    last = [row for row in edge.fittings if row.fitted < rebuilt]
    removed = last[-1].removed if last else None
    return rebuilt if removed is None else min(removed, rebuilt)


def _end_of(edges: Edges, edge: Edge, part: PartRow) -> float | None:
    """When the edge came off for good, as far as recorded; None while it is on a press."""
    removed = edge.fittings[-1].removed
    if removed is None and part.retired_on is not None:
        return edges.record.start_of(part.retired_on)
    return removed


def _gauged(
    edges: Edges, outlook: Outlook, edge: Edge, type_: TypeRow, life: _Life
) -> tuple[date, date, tuple[date, date] | None, str] | None:
    record = edges.record
    budget = abs((type_.limit_mm or 0.0) - (type_.new_mm or 0.0))
    if not life.worn or life.worn[-1] < budget:
        return None
    kg = past_of(outlook, edge).kg.sum(axis=1)
    total = np.concatenate(([0.0], np.cumsum(kg)))
    at_begin = float(np.interp(life.begun, outlook.midnights, total))
    seed = np.interp(np.array(life.instants), outlook.midnights, total) - at_begin
    at_limit = crossing(seed.tolist(), life.worn, budget)
    assert at_limit is not None
    first = max((index for index, worn in enumerate(life.worn) if worn < budget), default=-1) + 1
    before = record.day_of(life.instants[first - 1] if first else life.begun)
    after = record.day_of(life.instants[first])
    place = int(np.searchsorted(total[1:], at_begin + at_limit - 1e-6 * max(total[-1], 1.0)))
    day = outlook.first_day + timedelta(days=place)
    return min(max(day, before), after), after, (before, after), "gauged"


def _came_off(
    edges: Edges, edge: Edge, part: PartRow, life: _Life, *, last: bool
) -> tuple[date, date, None, str] | None:
    if life.until is None:
        return None
    day = edges.record.day_of(life.until)
    final = edges.last_of(part.id) is edge
    if last and final and part.retired_because == "worn" and part.retired_on is not None:
        return day, max(day, part.retired_on), None, "retired"
    findings = _findings(edges, edge, life)
    speaks_of_wear = any(OF_WEAR.search(text) and not NOT_OF_WEAR.search(text) for text in findings)
    turned = last and edges.turned_as_worn(edge)
    if speaks_of_wear or (turned and not findings):
        return day, day, None, "turned"
    return None


def _findings(edges: Edges, edge: Edge, life: _Life) -> list[str]:
    """The recorded findings of the work that took the edge off."""
    rebuilt = [life.ended_by.finding] if life.ended_by is not None and life.ended_by.finding else []
    return rebuilt + [
        work.finding
        for work in edges.record.services
        if work.part_id == edge.key[0]
        and work.action in ENDS_LIFE
        and work.edge in ("", edge.key[1])
        and life.until is not None
        and abs(work.done - life.until) <= SAME_WORK_S
        and work.finding
    ]
