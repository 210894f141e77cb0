"""Replays: what past days' forecasts said, each from the log of its day, stored while that log is
unchanged."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from hashlib import blake2b

from wearlog.calc.candidates import OTHERS
from wearlog.calc.conformal import DayRange, RangeFactors
from wearlog.forecasts.edges import Edge, EdgeKey, Edges
from wearlog.forecasts.models import Replay
from wearlog.forecasts.outlook import Outlook
from wearlog.forecasts.things import crops_of
from wearlog.forecasts.triggers.limit import day_range, limit, of_others, worst_of_last
from wearlog.history.log import Log
from wearlog.history.record import Record, record_as_of
from wearlog.history.rows import PartRow, PositionRow, TypeRow


@dataclass(frozen=True, kw_only=True)
class EdgeForecast:
    """What a forecast said about an edge at the end of a day; days are None where none could be given."""

    early: date | None
    mid: date | None
    late: date | None
    basis: str
    lumped: date | None
    others: Mapping[str, DayRange] = field(default_factory=dict)
    """By name, the ranges of the candidates beside the wear model."""

    @property
    def range(self) -> DayRange | None:
        if self.early is None or self.mid is None or self.late is None:
            return None
        return DayRange(early=self.early.toordinal(), mid=self.mid.toordinal(), late=self.late.toordinal())


def stored(log: Log, days: Iterable[date], *, checked: bool) -> dict[date, dict[EdgeKey, EdgeForecast]]:
    """The stored replays of the days; with `checked` only those that still match the log of their day."""
    rows = Replay.objects.filter(day__in=list(days)).values_list("day", "fingerprint", "said")
    return {
        day: _from_plain(forecasts)
        for day, name, forecasts in rows
        if not checked or name == fingerprint(record_as_of(log, day))
    }


def catch_up_day(log: Log, day: date, *, checked_on: date) -> dict[EdgeKey, EdgeForecast]:
    """The day's replay: the stored one if it matches the log, else a new one, which is stored."""
    row = Replay.objects.filter(day=day).first()
    if row is not None and row.checked_on == checked_on:
        return _from_plain(row.said)
    record = record_as_of(log, day)
    name = fingerprint(record)
    if row is not None and row.fingerprint == name:
        Replay.objects.filter(day=day).update(checked_on=checked_on)
        return _from_plain(row.said)
    forecasts = replay(record)
    new = {"fingerprint": name, "said": _as_plain(forecasts), "checked_on": checked_on}
    Replay.objects.update_or_create(day=day, defaults=new)
    return forecasts


def fingerprint(record: Record) -> str:
    """A digest of all that a replay depends on."""
    content = blake2b(digest_size=24)
    content.update(f"candidates {OTHERS}".encode())
    for each in fields(record):
        value = getattr(record, each.name)
        if each.name in ("rules", "range_factors"):
            continue
        if each.name in ("runs", "readings"):
            value = [(press, rows.digest) for press, rows in value.items()]
        content.update(f"{each.name} {value!r}".encode())
    return content.hexdigest()


Plain = tuple[
    int, str, str | None, str | None, str | None, str | None, str, dict[str, tuple[float, float, float]]
]
"""What an edge was said to do, as it is stored (JSON gives it back as a list): part, edge, the first and the
expected and the last day, that of the lumped rate, basis, and by name the three days of each other candidate
as ordinals."""


def _as_plain(forecasts: Mapping[EdgeKey, EdgeForecast]) -> list[Plain]:
    return [
        (
            *key,
            _text(one.early),
            _text(one.mid),
            _text(one.late),
            _text(one.lumped),
            one.basis,
            {name: (each.early, each.mid, each.late) for name, each in one.others.items()},
        )
        for key, one in sorted(forecasts.items())
    ]


def _from_plain(plain: Iterable[Plain]) -> dict[EdgeKey, EdgeForecast]:
    return {
        (part_id, edge): EdgeForecast(
            early=_day(early),
            mid=_day(mid),
            late=_day(late),
            lumped=_day(lumped),
            basis=basis,
            others={
                name: DayRange(early=days[0], mid=days[1], late=days[2])
                # Rows from before there were candidates end with the basis.
                for of_others in others
                for name, days in of_others.items()
            },
        )
        for part_id, edge, early, mid, late, lumped, basis, *others in plain
    }


def _text(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def replay(record: Record) -> dict[EdgeKey, EdgeForecast]:
    """A record's forecast for each edge in use, with its range as worked out, not corrected, and that of the
    lumped rate."""
    record = record.changed(range_factors=RangeFactors())
    edges, outlook = Edges(record), Outlook(record)
    found = {}
    for part_id, fittings in record.fittings_of.items():
        part = record.parts[part_id]
        type_ = record.types[part.type_id]
        if part.retired_on is not None or type_.new_mm is None or type_.limit_mm is None:
            continue
        edge, position = edges.last_of(part_id), record.positions[fittings[-1].position_id]
        trip = limit(edges, outlook, part, edge, position)
        found[edge.key] = EdgeForecast(
            early=trip.early,
            mid=trip.due,
            late=trip.late,
            basis=trip.basis,
            others=_others(edges, outlook, part, edge, position),
            lumped=_lumped(edges, outlook, edge, type_, position),
        )
    return found


def _others(
    edges: Edges, outlook: Outlook, part: PartRow, edge: Edge, position: PositionRow
) -> dict[str, DayRange]:
    found = of_others(edges, outlook, part, edge, position)
    return {name: given for name, one in found.items() if (given := day_range(one)) is not None}


def _lumped(edges: Edges, outlook: Outlook, edge: Edge, type_: TypeRow, position: PositionRow) -> date | None:
    """The day by the lumped rate: wear at the last gauge per kilogram of seed until then, whatever the crops,
    applied to the same expected season."""
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
