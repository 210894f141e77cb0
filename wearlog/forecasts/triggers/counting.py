"""Where a rule's count starts for a thing, and the hours and seed of the thing since then."""

from __future__ import annotations

from dataclasses import dataclass

from wearlog.forecasts.things import Span, Thing, place_at
from wearlog.history.record import NOTHING_EARLIER, Earlier, Record
from wearlog.history.rows import RuleRow, ServiceRow


@dataclass(frozen=True)
class Start:
    """`at` is None where no beginning is recorded; `service` is the work that reset the count, if any;
    `earlier` what a part had done before the log, where the count began when it was new."""

    at: float | None
    service: ServiceRow | None
    cycle: str
    earlier: Earlier = NOTHING_EARLIER


def start_of(record: Record, rule: RuleRow, thing: Thing) -> Start:
    """The last service that names the rule, or that names none but has its action and thing; else the part's
    first fitting; for a press the day it was commissioned, or its first record where that is earlier."""
    for service in reversed(record.services_by_rule[rule.id]):
        if touches(thing, service, exactly=service.rule_id is None):
            return Start(service.done, service, f"service-{service.id}")
    if thing.part is not None:
        first = record.fittings_of[thing.part.id][0]
        earlier = record.earlier.get(thing.part.id, NOTHING_EARLIER)
        return Start(first.fitted, None, f"fitting-{first.id}", earlier)
    return Start(first_of_press(record, thing), None, "start")


def touches(thing: Thing, service: ServiceRow, *, exactly: bool) -> bool:
    """Whether a service was about the thing.

    A part named by the service decides. Without one it is the part on the named position at the time. A
    service that names neither is about the press as a whole; only if it names the rule (not `exactly`) does
    it count for every thing of the rule on that press."""
    if thing.part is not None:
        if service.part_id is not None:
            return service.part_id == thing.part.id
        place = place_at(thing, service.done)
        if place is None or place.press_id != service.press_id:
            return False
        return place.position_id == service.position_id or (service.position_id is None and not exactly)
    if service.press_id != thing.press_id:
        return False
    if thing.position is not None:
        return service.position_id == thing.position.id or (service.position_id is None and not exactly)
    return not exactly or service.part_id is None


def first_of_press(record: Record, thing: Thing) -> float | None:
    """The earliest known instant of a press: its commissioning, first run, first reading or first fitting."""
    press = record.presses[thing.press_id]
    known = []
    if press.commissioned_on is not None and press.commissioned_on <= record.as_of:
        known.append(record.start_of(press.commissioned_on))
    runs = record.runs.get(press.id)
    if runs is not None and runs.start.size:
        known.append(float(runs.start[0]))
    readings = record.readings.get(press.id)
    if readings is not None and readings.at.size:
        known.append(float(readings.at[0]))
    known += [
        fitting.fitted
        for fitting in record.fittings
        if record.positions[fitting.position_id].press_id == press.id
    ]
    return min(known, default=None)


def _within(span: Span, start: float, end: float) -> tuple[float, float] | None:
    first, last = max(span.start, start), min(span.end, end)
    return (first, last) if last > first else None


def _scale(record: Record, span: Span) -> float:
    known = record.timelines[span.press_id].barrel_lanes
    return 1.0 if span.barrel in known else span.share


def hours_in(record: Record, thing: Thing, start: float, end: float) -> float:
    """Hours of the presses that the thing was on in [start, end)."""
    total = 0.0
    for span in thing.spans:
        within = _within(span, start, end)
        if within:
            total += float(record.timelines[span.press_id].hours(*within)[0])
    return total


def kilograms_in(record: Record, thing: Thing, start: float, end: float) -> float:
    """Kilograms of seed, all crops together, through the thing in [start, end)."""
    total = 0.0
    for span in thing.spans:
        within = _within(span, start, end)
        if within:
            seed = record.timelines[span.press_id].kilograms(*within, span.barrel or None)
            total += float(seed.sum()) * _scale(record, span)
    return total


def hours_reached(record: Record, thing: Thing, start: float, amount: float) -> float | None:
    """The instant at which the hours since `start` reached `amount`, `start` itself where it is not above 0;
    None where they have not."""
    if amount <= 0:
        return start
    for span in thing.spans:
        within = _within(span, start, record.end)
        if within is None:
            continue
        timeline = record.timelines[span.press_id]
        worked = float(timeline.hours(*within)[0])
        if worked >= amount * (1 - 1e-9):
            return min(timeline.hours_reached(within[0], amount), within[1])
        amount -= worked
    return None


def kilograms_reached(record: Record, thing: Thing, start: float, amount: float) -> float | None:
    """The instant at which the seed since `start` reached `amount` (kg), `start` itself where it is not above
    0; None where it has not."""
    if amount <= 0:
        return start
    for span in thing.spans:
        within = _within(span, start, record.end)
        if within is None:
            continue
        timeline = record.timelines[span.press_id]
        scale = _scale(record, span)
        worked = float(timeline.kilograms(*within, span.barrel or None).sum()) * scale
        if worked >= amount * (1 - 1e-9) and scale > 0:
            return min(timeline.kilograms_reached(within[0], amount / scale, span.barrel or None), within[1])
        amount -= worked
    return None
