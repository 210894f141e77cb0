"""A part on the shelf, as if fitted at the next change of crop: when each edge would reach its limit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

from wearlog.calc.season import Reach, reach
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.outlook import Outlook
from wearlog.forecasts.things import crops_of
from wearlog.history.rows import PlanRow


@dataclass(frozen=True)
class IfFitted:
    """An edge (empty: the part's only one) fitted at a place when its press changes to a crop."""

    position_id: int
    on: date
    crop: str
    edge: str
    reach: Reach


def if_fitted(edges: Edges, outlook: Outlook, part_id: int, names: tuple[str, ...]) -> list[IfFitted]:
    """For each place of the part's kind whose press has a change of crop in its plan, to one that the part
    serves, and for each of the edges `names` of which anything is known, the nearest change first. Left out
    is an edge that is rather at its limit already. KeyError for a part that the record does not hold."""
    record = edges.record
    part = record.parts[part_id]
    type_ = record.types[part.type_id]
    serves = crops_of(record.crops, type_)
    found = []
    for position in record.positions.values():
        if position.kind != type_.kind:
            continue
        change = next(_changes(outlook, position.press_id, serves), None)
        season = outlook.season(position.press_id)
        if change is None or season is None:
            continue
        after = season.after(change.start_on.toordinal())
        for name in names:
            own = edges.fit_of(part, name)[1]
            if own.scenarios is None:
                continue
            when = reach(edge=own, season=after, share=position.share, for_crops=serves)
            if when.mid is not None and when.mid < change.start_on:
                continue
            early = None if when.early is None else max(when.early, change.start_on)
            crop = record.crops[change.crop]
            found.append(IfFitted(position.id, change.start_on, crop, name, replace(when, early=early)))
    return sorted(found, key=lambda each: each.on)


def _changes(outlook: Outlook, press_id: int, serves: list[int] | None) -> Iterator[PlanRow]:
    """The plan's coming changes to such a crop (None: any), the nearest first."""
    record = outlook.record
    runs = record.runs.get(press_id)
    pressed = None if runs is None or runs.crop.size == 0 else int(runs.crop[-1])
    for row in sorted(record.plan, key=lambda row: row.start_on):
        if row.press_id != press_id or row.seed_kg <= 0 or row.end_on < record.as_of:
            continue
        if row.start_on > record.as_of and row.crop != pressed and (serves is None or row.crop in serves):
            yield row
        pressed = row.crop
