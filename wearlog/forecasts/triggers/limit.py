"""The wear limit trigger: present wear, seed left, and the day on which the limit is reached."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date, timedelta
from math import ceil, exp, floor

import numpy as np
from django.utils.translation import gettext as _

from wearlog.calc import choice, conformal
from wearlog.calc.candidates import OTHERS, PRESENT
from wearlog.calc.season import DailySeed, Reach, reach
from wearlog.calc.wear import EdgeFit, Quantiles, TypeFit
from wearlog.forecasts import speakers
from wearlog.forecasts.edges import Edge, Edges
from wearlog.forecasts.guessed import Guessed, guessed_in
from wearlog.forecasts.items import WearFigure
from wearlog.forecasts.outlook import TENTH, Outlook, Path
from wearlog.forecasts.things import crops_of, spans_of
from wearlog.forecasts.triggers import why, why_limit
from wearlog.forecasts.triggers.case import Case
from wearlog.forecasts.triggers.trigger import Trigger
from wearlog.forecasts.triggers.trips import Trip
from wearlog.history.record import Record
from wearlog.history.rows import Floats, PartRow, PositionRow, TypeRow
from wearlog.service.models import Rule
from wearlog.service.work import RENEWS

LIFE_SPREAD = 0.4
"""Standard deviation of the logarithm of a life relative to the expected life: our assumption, no source."""


def limit(edges: Edges, outlook: Outlook, part: PartRow, edge: Edge, position: PositionRow) -> Trip:
    """When an edge reaches its limit, if it continues (or is put back) where it is or last was."""
    record = edges.record
    type_ = record.types[part.type_id]
    fit, own = edges.fit_of(part, edge.key[1])
    crops = crops_of(record.crops, type_)
    if own.basis == "none":
        return _by_life(edges, outlook, edge, position, own)
    alone = _reach(outlook, edge, position, crops, own)
    weights = record.range_factors.weights
    others = of_others(edges, outlook, part, edge, position, weights) if weights else {}
    given = chosen(alone, others, weights)
    found = _corrected(given, type_, record)
    moved = _moved(given, found, type_, record)
    heard = "" if given is alone else speakers.shares(weights)
    return Trip(
        why=_sentence(edges, outlook, edge, position, fit, own, found, heard, moved),
        due=found.mid,
        early=found.early,
        late=found.late,
        left_kg=None if found.left_kg is None else found.left_kg.mid,
        basis=own.basis,
        used=_used(type_, own),
        cycle=_cycle(edge),
        wear=_wear_figure(edges, type_, edge, own),
    )


def of_others(
    edges: Edges,
    outlook: Outlook,
    part: PartRow,
    edge: Edge,
    position: PositionRow,
    names: Collection[str] = OTHERS,
) -> dict[str, Reach]:
    """When the edge reaches its limit by those of the candidates beside the wear model; empty where nothing
    is known of its wear."""
    crops = crops_of(outlook.record.crops, outlook.record.types[part.type_id])
    fits = edges.candidates[part.type_id].fits(edge.key, names)
    return {name: _reach(outlook, edge, position, crops, fit) for name, fit in fits.items()}


def _reach(
    outlook: Outlook, edge: Edge, position: PositionRow, crops: list[int] | None, fit: EdgeFit
) -> Reach:
    passed = fit.scenarios is not None and (fit.scenarios.needed <= 0).any()
    return reach(
        edge=fit,
        season=outlook.season(position.press_id),
        share=position.share,
        for_crops=crops,
        past=past_of(outlook, edge) if passed else None,
    )


def chosen(alone: Reach, others: Mapping[str, Reach], weights: Mapping[str, float]) -> Reach:
    """The days by all models that have a say; those of the wear model `alone` where it says no full range, or
    nobody else does."""
    ranges = {name: given for name, one in others.items() if (given := day_range(one)) is not None}
    own = day_range(alone)
    if own is None or not any(name in weights for name in ranges):
        return alone
    given = choice.mixed({PRESENT: own, **ranges}, weights)
    early, mid, late = (date.fromordinal(round(day)) for day in (given.early, given.mid, given.late))
    return replace(alone, early=early, mid=mid, late=late)


def day_range(found: Reach) -> conformal.DayRange | None:
    """The three days as ordinals; None where one of them is missing."""
    if found.early is None or found.mid is None or found.late is None:
        return None
    early, mid, late = (day.toordinal() for day in (found.early, found.mid, found.late))
    return conformal.DayRange(early=early, mid=mid, late=late)


def _corrected(found: Reach, type_: TypeRow, record: Record) -> Reach:
    """The range with both ends moved by the mill's own track record, for the part type. An end that lies in
    the future is not moved into the past: it is then tomorrow."""
    by = record.range_factors.of(type_.id)
    if by.changes_nothing or found.early is None or found.mid is None or found.late is None:
        return found
    early, mid, late = found.early.toordinal(), found.mid.toordinal(), found.late.toordinal()
    tomorrow = record.as_of.toordinal() + 1
    better = conformal.corrected(conformal.DayRange(early=early, mid=mid, late=late), by)
    return replace(
        found,
        early=date.fromordinal(max(floor(better.early), min(early, tomorrow))),
        late=date.fromordinal(max(ceil(better.late), min(late, tomorrow))),
    )


def _moved(given: Reach, found: Reach, type_: TypeRow, record: Record) -> why_limit.Moved:
    """The factors by which the days were moved; None for a day that is as it was worked out."""
    by = record.range_factors.of(type_.id)
    return why_limit.Moved(
        early=None if found.early == given.early else by.early,
        late=None if found.late == given.late else by.late,
    )


def _used(type_: TypeRow, own: EdgeFit) -> float:
    if own.now is None or type_.new_mm is None or type_.limit_mm is None:
        return 0.0
    return own.now.mid / abs(type_.limit_mm - type_.new_mm)


def _cycle(edge: Edge) -> str:
    """A name for the edge's present life; a rebuilt edge begins a new life, and with it new reminders."""
    rebuilt = [row.id for row in edge.works if row.action in RENEWS]
    begun = f"rebuilt-{rebuilt[-1]}" if rebuilt else f"fitting-{edge.fittings[0].id}"
    return f"edge-{edge.key[1]}-{begun}"


def past_of(outlook: Outlook, edge: Edge) -> DailySeed:
    """Seed per day and crop that the edge itself took up to the as-of day; what it took before this log
    stands on the day of its first fitting."""
    record, midnights = outlook.record, outlook.midnights
    total = np.zeros((midnights.size - 1, len(record.crops)))
    total[_first_day(outlook, edge)] += edge.earlier_kg
    for fitting in edge.fittings:
        position = record.positions[fitting.position_id]
        timeline = record.timelines[position.press_id]
        end = record.end if fitting.removed is None else fitting.removed
        bounds = np.clip(midnights, fitting.fitted, end)
        seed = timeline.kilograms(bounds[:-1], bounds[1:], position.barrel or None)
        total += seed if position.barrel in timeline.barrel_lanes else seed * position.share
    return DailySeed(first=outlook.first_day.toordinal(), kg=total)


def _first_day(outlook: Outlook, edge: Edge) -> int:
    """The place, among the outlook's days, of that of the edge's first fitting."""
    fitted = outlook.record.day_of(edge.fittings[0].fitted)
    return min(max((fitted - outlook.first_day).days, 0), outlook.midnights.size - 2)


def _wear_figure(edges: Edges, type_: TypeRow, edge: Edge, own: EdgeFit) -> WearFigure | None:
    if type_.new_mm is None or type_.limit_mm is None:
        return None
    sign = 1.0 if type_.limit_mm > type_.new_mm else -1.0
    measured = worst_of_last(edge, sign)

    def at(worn: float | None) -> float | None:
        return None if worn is None or type_.new_mm is None else type_.new_mm + sign * worn

    now = own.now
    return WearFigure(
        new_mm=type_.new_mm,
        limit_mm=type_.limit_mm,
        measured_mm=None if measured is None else measured[1],
        measured_on=None if measured is None else edges.record.day_of(measured[0]),
        now_mm=at(now.mid if now else None),
        now_low_mm=at(now.low if now else None),
        now_high_mm=at(now.high if now else None),
    )


def worst_of_last(edge: Edge, sign: float) -> tuple[float, float] | None:
    """Instant and value of the last plain gauging at its most worn place; None where there is none."""
    plain = [row for row in edge.measurements if not row.bound]
    if not plain:
        return None
    last = max(row.measured for row in plain)
    rows = [row for row in plain if row.measured == last]
    after = [row for row in rows if row.phase == "after"]
    return last, max((row.value_mm for row in after or rows), key=lambda value: sign * value)


def _by_life(edges: Edges, outlook: Outlook, edge: Edge, position: PositionRow, own: EdgeFit) -> Trip:
    """The trip of a type without dimensions: by its expected life in seed or hours, whichever ends first;
    without one it is unknown."""
    record = outlook.record
    type_ = record.types[record.parts[edge.key[0]].type_id]
    crops = crops_of(record.crops, type_)
    lives: list[Trip] = []
    if type_.expected_life_kg:
        taken = float(edge.now_kg.sum())
        path = outlook.seed_path(position.press_id, position.share, crops)
        lives.append(_life(outlook, edge, position, taken, type_.expected_life_kg, path, "kg"))
    if type_.expected_life_h:
        path = outlook.hours_path(position.press_id, crops)
        lives.append(
            _life(outlook, edge, position, _hours_of(outlook, edge), type_.expected_life_h, path, "h")
        )
    if not lives:
        return Trip(
            why=why_limit.nothing(own.reason),
            known=False,
            basis="none",
            cycle=_cycle(edge),
            wear=_wear_figure(edges, type_, edge, own),
        )
    return min(lives, key=lambda trip: (trip.due is None, trip.due or date.max))


def _hours_of(outlook: Outlook, edge: Edge) -> float:
    record, total = outlook.record, edge.earlier_h
    for fitting in edge.fittings:
        press_id = record.positions[fitting.position_id].press_id
        end = record.end if fitting.removed is None else fitting.removed
        total += float(record.timelines[press_id].hours(fitting.fitted, end)[0])
    return total


def _life(
    outlook: Outlook,
    edge: Edge,
    position: PositionRow,
    used: float,
    life: float,
    path: Path | None,
    unit: str,
) -> Trip:
    record = outlook.record

    def day(of_life: float) -> date | None:
        if used >= of_life:
            return _day_of_use(outlook, edge, of_life, unit)
        return None if path is None else path.day(of_life - used)

    early, due, late = (day(life * exp(z * LIFE_SPREAD)) for z in (-TENTH, 0.0, TENTH))
    show = why.mass if unit == "kg" else why.hours
    return Trip(
        why=why_limit.by_life(
            used=show(used, record.units),
            life=show(life, record.units),
            left=show(max(life - used, 0.0), record.units),
            route=outlook.route(position.press_id, due),
            about="" if due is None else why.about(due, early, late, record.as_of),
        ),
        due=due,
        early=early,
        late=late,
        left_kg=life - used if unit == "kg" else None,
        left_h=life - used if unit == "h" else None,
        basis="expected_life",
        used=used / life,
        cycle=_cycle(edge),
    )


def _day_of_use(outlook: Outlook, edge: Edge, amount: float, unit: str) -> date:
    """The day in the past on which the edge had taken the amount (in `unit`, "kg" or "h")."""
    record = outlook.record
    if unit == "kg":
        total = np.cumsum(past_of(outlook, edge).kg.sum(axis=1))
    else:
        total = np.zeros(outlook.midnights.size - 1)
        total[_first_day(outlook, edge) :] += edge.earlier_h
        for fitting in edge.fittings:
            press_id = record.positions[fitting.position_id].press_id
            end = record.end if fitting.removed is None else fitting.removed
            bounds = np.clip(outlook.midnights, fitting.fitted, end)
            total += np.cumsum(record.timelines[press_id].hours(bounds[:-1], bounds[1:]))
    place = int(np.searchsorted(total, amount * (1 - 1e-9), side="left"))
    return outlook.first_day + timedelta(days=min(place, total.size - 1))


def _sentence(
    edges: Edges,
    outlook: Outlook,
    edge: Edge,
    position: PositionRow,
    fit: TypeFit,
    own: EdgeFit,
    found: Reach,
    heard: str,
    moved: why_limit.Moved,
) -> str:
    record = outlook.record
    type_ = record.types[record.parts[edge.key[0]].type_id]
    crops = crops_of(record.crops, type_)
    budget = abs((type_.limit_mm or 0.0) - (type_.new_mm or 0.0))
    taken, rebuilt = edges.taken(edge)
    on_shelf = record.fittings_of[edge.key[0]][-1].removed is not None
    return why_limit.measured(
        edge=edge.key[1],
        kind=type_.kind,
        basis=own.basis,
        worn=None if own.now is None else own.now.mid,
        budget=budget,
        taken=taken,
        since=""
        if rebuilt is None
        else why.work_on(rebuilt.action, record.day_of(rebuilt.done), record.as_of),
        back_on=record.presses[position.press_id].label if on_shelf else "",
        rates=_rates(outlook, position, crops, edge, fit, own.multiplier),
        left=None if found.left_kg is None else found.left_kg.mid,
        route=outlook.route(position.press_id, found.mid),
        about="" if found.mid is None else why.about(found.mid, found.early, found.late, record.as_of),
        heard=heard,
        moved=moved,
        passed="" if found.mid is None or found.mid > record.as_of else why.day(found.mid, record.as_of),
        units=record.units,
    )


def _rates(
    outlook: Outlook,
    position: PositionRow,
    crops: list[int] | None,
    edge: Edge,
    fit: TypeFit,
    multiplier: Quantiles | None,
) -> list[tuple[str, float]]:
    """The two crops (at most) that will wear the edge most from here on, or have done so, with the edge's mm
    per kg."""
    season = outlook.season(position.press_id)
    weights: Floats = edge.now_kg
    if season is not None:
        year = season.total[min(365, len(season.kg)) - 1]
        if crops is not None:
            year = np.where(np.isin(np.arange(year.size), crops), year, 0.0)
        weights = year if year.any() else weights
    own = 1.0 if multiplier is None else multiplier.mid
    known = [
        (float(weights[index]) * rate.mid, outlook.record.crops[index], rate.mid * own)
        for index, rate in enumerate(fit.rates)
        if rate is not None and weights[index] > 0
    ]
    known.sort(key=lambda one: (-one[0], one[1]))
    return [(crop, rate) for _, crop, rate in known[:2]]


def trips(case: Case, enabled: bool) -> Trip | None:
    """The trip of the edge that a part uses or last used, where it is or last was; None for a press. Work
    that the rule asks for (for example a polish) begins a new cycle of the same edge."""
    part, position = case.thing.part, case.thing.position
    if part is None or position is None:
        return None
    return limit(case.edges, case.outlook, part, case.edges.last_of(part.id), position)


def guessed(case: Case) -> Guessed:
    """The guessed share of all the seed that the edge has taken, wherever it was."""
    part = case.thing.part
    assert part is not None
    return guessed_in(case.record, spans_of(case.record, case.edges.last_of(part.id).fittings))


def summary(rule: Rule, system: str) -> list[str]:
    return [_("at the wear limit")]


TRIGGER = Trigger(
    name="limit", column="at_limit", trips=trips, summary=summary, guessed=guessed, overdue_by_range=True
)
