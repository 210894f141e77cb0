"""The track record: what the forecast would have said 30, 60 and 90 days before each edge reached its limit.

The past is replayed through the loader of the forecasts, as the log stood at the end of each day, so that
nothing later can leak. Replays stand on every fifteenth day, so that one reading of the log serves all edges
and all three leads: "30 days ahead" is 30 to 44 days ahead.
"""

from __future__ import annotations

import pickle
import threading
from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta
from hashlib import sha256

from django.db import connection

from wearlog.calc import conformal
from wearlog.calc.conformal import LEAD_DAYS, Forward, History, Range
from wearlog.calc.track import Promise, Summary, summary
from wearlog.forecasts import versions
from wearlog.forecasts.edges import Edge, EdgeKey, Edges
from wearlog.forecasts.limits import limit, worst_of_last
from wearlog.forecasts.outlook import Outlook
from wearlog.forecasts.reached import Reached, reached_edges
from wearlog.forecasts.record import Record, load
from wearlog.forecasts.rows import PositionRow, TypeRow
from wearlog.forecasts.things import crops_of

LEADS = (30, 60, 90)
STEP_DAYS = 15
"""All leads are multiples of it."""


@dataclass(frozen=True, kw_only=True)
class Said:
    """What was said of an edge at the end of a day; days are None where none could be named."""

    early: date | None
    mid: date | None
    late: date | None
    basis: str
    lumped: date | None

    @property
    def range(self) -> Range | None:
        if self.early is None or self.mid is None or self.late is None:
            return None
        return Range(early=self.early.toordinal(), mid=self.mid.toordinal(), late=self.late.toordinal())


@dataclass(frozen=True, kw_only=True)
class Tracked:
    """An edge that reached its limit, and for each lead the as-of day and what was said then. A lead is
    absent where the edge was not in use so long before."""

    reached: Reached
    said: Mapping[int, tuple[date, Said]]


@dataclass(frozen=True, kw_only=True)
class TrackRecord:
    """edges: in the order in which they reached their limits. leads: a summary for each. forward: how often
    ranges held as given and as this record would have widened them, from edges finished by then only.
    factor: by how much a forecast of `as_of` would be widened, and judged: from how many edges. replayed:
    on how many days."""

    as_of: date
    edges: tuple[Tracked, ...]
    leads: Mapping[int, Summary]
    forward: Forward
    factor: float
    judged: int
    replayed: int


_latest: dict[str, tuple[tuple[int, date, date | None], TrackRecord]] = {}
_days_kept: OrderedDict[tuple[date, bytes], dict[EdgeKey, Said]] = OrderedDict()
MOST_DAYS_KEPT = 400
_lock = threading.Lock()


def track_record(*, as_of: date, since: date | None = None) -> TrackRecord:
    """Replay the past as the log of `as_of` tells it, for edges that came to their limits from `since` on
    (None: all). Reads only; takes a few seconds for each year.

    The answer is kept in the process until the log changes; within a transaction nothing is kept."""
    number = versions.current()
    key = (number, as_of, since)
    lasting = number > 0 and not connection.in_atomic_block
    kept = _latest.get("kept")
    if lasting and kept is not None and kept[0] == key:
        return kept[1]
    with _lock:
        kept = _latest.get("kept")
        if lasting and kept is not None and kept[0] == key:
            return kept[1]
        made = _replayed(as_of, since or date.min)
        if lasting and versions.current() == number:
            _latest["kept"] = (key, made)
    return made


def _replayed(as_of: date, since: date) -> TrackRecord:
    now = Edges(load(as_of))
    every = reached_edges(now)
    reached = [one for one in every if one.came >= since]
    days = sorted({day for one in reached for day in _days(one).values()} | _days_to_judge(reached, as_of))
    replays = {day: _kept_replay(load(day)) for day in days}
    edges = tuple(
        Tracked(
            reached=one,
            said={
                lead: (day, replays[day][one.key])
                for lead, day in _days(one).items()
                if one.key in replays[day] and day >= one.begun
            },
        )
        for one in reached
    )
    histories = _histories(now, every, replays)
    scores = conformal.scores_on(as_of.toordinal() + 1, histories)
    return TrackRecord(
        as_of=as_of,
        edges=edges,
        leads={lead: summary(_promises(edges, lead)) for lead in LEADS},
        forward=conformal.forward(histories),
        factor=conformal.factor(scores),
        judged=len(scores),
        replayed=len(days),
    )


def step_before(day: date) -> date:
    """The last day on which replays stand, up to the day given."""
    return date.fromordinal(day.toordinal() // STEP_DAYS * STEP_DAYS)


def _days(one: Reached) -> dict[int, date]:
    found = {lead: step_before(one.came - timedelta(days=lead)) for lead in LEADS}
    return {lead: day for lead, day in found.items() if day >= one.begun}


def _days_to_judge(reached: Sequence[Reached], as_of: date) -> set[date]:
    """The day by whose words the edges are judged that have not reached their limits yet."""
    return {step_before(as_of - timedelta(days=LEAD_DAYS))} if reached else set()


def _kept_replay(record: Record) -> dict[EdgeKey, Said]:
    """A replay depends on nothing but its record: while the log of that day stays as it is, so does it."""
    known = [getattr(record, field.name) for field in fields(record) if field.name != "sources"]
    key = record.as_of, sha256(pickle.dumps(known)).digest()
    if key not in _days_kept:
        _days_kept[key] = replay(record)
        while len(_days_kept) > MOST_DAYS_KEPT:
            _days_kept.popitem(last=False)
    return _days_kept[key]


def replay(record: Record) -> dict[EdgeKey, Said]:
    """What the record's forecast says of each edge in use, and what the lumped rate says."""
    edges, outlook = Edges(record), Outlook(record)
    found = {}
    for part_id, fittings in record.fittings_of.items():
        part = record.parts[part_id]
        type_ = record.types[part.type_id]
        if part.retired_on is not None or type_.new_mm is None or type_.limit_mm is None:
            continue
        edge, position = edges.last_of(part_id), record.positions[fittings[-1].position_id]
        trip = limit(edges, outlook, part, edge, position)
        found[edge.key] = Said(
            early=trip.early,
            mid=trip.due,
            late=trip.late,
            basis=trip.basis,
            lumped=_lumped(edges, outlook, edge, type_, position),
        )
    return found


def _lumped(edges: Edges, outlook: Outlook, edge: Edge, type_: TypeRow, position: PositionRow) -> date | None:
    """Wear at the last gauge over the seed until then, whatever the crops, spent along the same season."""
    assert type_.new_mm is not None
    assert type_.limit_mm is not None
    sign = 1.0 if type_.limit_mm > type_.new_mm else -1.0
    last = worst_of_last(edge, sign)
    if last is None:
        return None
    worn = sign * (last[1] - type_.new_mm)
    kg = edges.taken_by(edge, last[0])
    path = outlook.seed_path(position.press_id, position.share, crops_of(edges.record.crops, type_))
    if kg <= 0 or worn <= 0 or path is None:
        return None
    left = abs(type_.limit_mm - type_.new_mm) / (worn / kg) - edges.taken(edge)[0]
    return edges.record.as_of if left <= 0 else path.day(left)


def _promises(edges: Iterable[Tracked], lead: int) -> list[Promise]:
    promises = []
    for one in edges:
        if lead in one.said:
            day, said = one.said[lead]
            promises.append(
                Promise(
                    said_on=day.toordinal(),
                    came=one.reached.came.toordinal(),
                    range=said.range,
                    lumped=None if said.lumped is None else said.lumped.toordinal(),
                )
            )
    return promises


def _histories(
    now: Edges, reached: Sequence[Reached], replays: Mapping[date, Mapping[EdgeKey, Said]]
) -> list[History]:
    """What the replays said of each edge: over each life that came to its limit, and the present one."""
    histories = []
    begun: dict[EdgeKey, date] = {}
    for one in reached:
        said = _said(one.key, replays, one.begun, one.came)
        histories.append(History(said=said, came=one.came.toordinal(), known_on=one.known_on.toordinal()))
        begun[one.key] = max(begun.get(one.key, one.known_on), one.known_on) + timedelta(days=1)
    record = now.record
    for edge in now.used.values():
        part = record.parts[edge.key[0]]
        since = begun.get(edge.key)
        if since is not None and not any(day >= since and edge.key in said for day, said in replays.items()):
            continue
        ended = part.retired_on
        if ended is None and now.last_of(part.id) is not edge:
            removed = edge.fittings[-1].removed
            ended = None if removed is None else record.day_of(removed)
        said = _said(edge.key, replays, since or date.min, date.max)
        histories.append(History(said=said, ended=None if ended is None else ended.toordinal()))
    return histories


def _said(
    key: EdgeKey, replays: Mapping[date, Mapping[EdgeKey, Said]], since: date, until: date
) -> tuple[tuple[float, Range], ...]:
    found = []
    for day, said in replays.items():
        given = said[key].range if key in said and since <= day < until else None
        if given is not None:
            found.append((float(day.toordinal()), given))
    return tuple(found)
