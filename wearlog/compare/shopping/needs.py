"""When each part on a press will need a new one in its place.

The forecast's items come first: a rule that ends in a replacement has its days. A part that no rule replaces
lasts as long as its type is expected to, from what it has worked so far (`calc.policy.remaining`), along its
press's own expected hours or seed. Each seat counts by itself: a twin with two screws has two needs.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from math import hypot

from wearlog.calc import policy
from wearlog.compare.ages import ages_of
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.outlook import TENTH, Outlook, Path
from wearlog.forecasts.things import crops_of
from wearlog.forecasts.triggers.limit import LIFE_SPREAD
from wearlog.history.record import NOTHING_EARLIER, Record
from wearlog.history.rows import PartRow, PositionRow, PressRow
from wearlog.service.models import Action
from wearlog.service.work import RENEWS


class Basis(StrEnum):
    RULE = "rule"
    """A rule asks for the replacement."""
    LIFE = "life"
    """The type's expected life."""


@dataclass(frozen=True)
class Need:
    part: PartRow
    position: PositionRow
    press: PressRow
    days: policy.Needed
    basis: Basis


def needs(record: Record, items: Iterable[DueItem]) -> list[Need]:
    """The needs of all parts on presses in service for which a day is known; at most one for each part."""
    fitted = [
        (record.parts[part_id], record.positions[rows[-1].position_id])
        for part_id, rows in record.fittings_of.items()
        if rows[-1].removed is None
        and record.parts[part_id].retired_on is None
        and record.presses[record.positions[rows[-1].position_id].press_id].retired_on is None
    ]
    by_rule: dict[int, policy.Needed] = {}
    turned = set()
    for item in items:
        if item.part_id is None or item.early_on is None:
            continue
        if item.action == Action.FLIP:
            turned.add(item.part_id)
        if item.action == Action.REPLACE:
            before = by_rule.get(item.part_id)
            if before is None or before.early is None or item.early_on < before.early:
                by_rule[item.part_id] = policy.Needed(item.early_on, item.due_on, item.late_on)
    found = [
        Need(part, position, record.presses[position.press_id], by_rule[part.id], Basis.RULE)
        for part, position in fitted
        if part.id in by_rule
    ]
    others = [place for place in fitted if place[0].id not in by_rule and place[0].id not in turned]
    return found + _by_life(record, others)


def _by_life(record: Record, fitted: Sequence[tuple[PartRow, PositionRow]]) -> list[Need]:
    told = [
        (part, position)
        for part, position in fitted
        if record.types[part.type_id].expected_life_h is not None
        or record.types[part.type_id].expected_life_kg is not None
    ]
    if not told:
        return []
    renewed: dict[int, float] = {}
    for service in record.services:
        if service.action in RENEWS and service.part_id is not None:
            renewed[service.part_id] = max(service.done, renewed.get(service.part_id, 0.0))
    ends = ages_of(record, [(part.id, record.end) for part, _position in told])
    starts = ages_of(record, [(part.id, renewed.get(part.id, float("-inf"))) for part, _position in told])
    outlook = Outlook(record)
    found = []
    for place, (part, position) in enumerate(told):
        type_ = record.types[part.type_id]
        earlier = NOTHING_EARLIER if part.id in renewed else record.earlier.get(part.id, NOTHING_EARLIER)
        crops = crops_of(record.crops, type_)
        if type_.expected_life_h is not None:
            expected = type_.expected_life_h * type_.edges
            age = float(ends.hours_h[place] - starts.hours_h[place]) + earlier.worked_h
            path = outlook.hours_path(position.press_id, crops)
        else:
            assert type_.expected_life_kg is not None
            expected = type_.expected_life_kg * type_.edges
            age = float(ends.seed_kg[place] - starts.seed_kg[place]) + earlier.seed_kg
            path = outlook.seed_path(position.press_id, position.share, crops)
        if path is None:
            continue
        early, mid, late = (
            policy.left_of_life(expected=expected, age=age, spread=LIFE_SPREAD, chance=chance)
            for chance in (0.1, 0.5, 0.9)
        )
        days = _days(path, early, mid, late)
        if days.early is not None:
            found.append(Need(part, position, record.presses[position.press_id], days, Basis.LIFE))
    return found


def _days(path: Path, early: float, mid: float, late: float) -> policy.Needed:
    """The three days on which a path reaches what is left of a life at 10, 50 and 90 %. Life and pace differ
    independently, so that their distances from the middle add up as squares do. Where the middle lies beyond
    the path, the life alone gives the early day."""
    middle = path.day(mid)
    if middle is None:
        return policy.Needed(path.day(early))

    def away(by_life: date | None, by_pace: date | None) -> timedelta | None:
        if by_life is None or by_pace is None:
            return None
        return timedelta(days=round(hypot((by_life - middle).days, (by_pace - middle).days)))

    before = away(path.day(early), path.day(mid, TENTH))
    after = away(path.day(late), path.day(mid, -TENTH))
    tomorrow = path.as_of + timedelta(days=1)
    return policy.Needed(
        None if before is None else max(tomorrow, middle - before),
        middle,
        None if after is None else middle + after,
    )
