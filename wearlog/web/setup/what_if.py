"""A campaign of the plan as it stands, beside the same changed: what it asks of the press, what falls due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.capacity import Load, load_of
from wearlog.forecasts.if_planned import items_if_planned
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import Forecast
from wearlog.history.record import Record
from wearlog.history.rows import PlanRow
from wearlog.people.words import day
from wearlog.runs.models import PlanEntry
from wearlog.words.actions import action_word
from wearlog.words.kinds import kind_words


def campaign_words(entry: PlanEntry) -> str:
    """An entry of the plan as people call it."""
    words = {"press": entry.press, "crop": entry.crop, "day": day(entry.start_on)}
    return _("%(press)s %(crop)s from %(day)s") % words


def load_words(load: Load, system: str) -> str:
    """`7.2 h a day at 15.7 kg/h; it usually runs 10.4 h`; empty where nothing can be said."""
    if load.pace is None or load.per_day is None:
        return ""
    values = {
        "hours": units.show_hours(load.per_day, system),
        "pace": units.show_rate(load.pace, system),
        "usual": units.show_hours(load.usual_per_day, system),
    }
    if load.impossible:
        return _("%(hours)s a day at %(pace)s: more than a day has") % values
    if load.usual_per_day is None:
        return _("%(hours)s a day at %(pace)s") % values
    if load.more_than_usual:
        return _("%(hours)s a day at %(pace)s: more than the %(usual)s that it usually runs") % values
    return _("%(hours)s a day at %(pace)s; it usually runs %(usual)s") % values


@dataclass(frozen=True)
class Compared:
    """One line of the table: as planned, and if changed. `differs` where the two are not the same."""

    what: str
    now: str
    then: str

    @property
    def differs(self) -> bool:
        return self.now != self.then


@dataclass(frozen=True)
class WhatIf:
    """campaign: the lines about the campaign itself. work: those about what falls due at its presses within
    the horizon of both. items: each of these jobs once, for the cautions."""

    campaign: list[Compared]
    work: list[Compared]
    items: list[DueItem]


def what_if(forecast: Forecast, entry: PlanEntry, changed: PlanEntry, system: str) -> WhatIf | None:
    """None where the day's record doesn't have the entry, which was written a moment ago."""
    record = forecast.ground.record
    row = planned_row(record, entry)
    if row is None:
        return None
    other = replace(
        row,
        press_id=changed.press_id,
        crop=record.crops.index(changed.crop.code),
        start_on=changed.start_on,
        end_on=changed.end_on,
        seed_kg=float(changed.seed_kg),
    )
    plan = [other if each is row else each for each in record.plan]
    presses = sorted({row.press_id, other.press_id})
    forecast.ground.read_together(presses)
    before = [item for press in presses for item in forecast.of_press(press)[1]]
    after = [item for of in items_if_planned(forecast, plan, presses).values() for item in of]
    horizon = max(row.end_on, other.end_on)
    return WhatIf(
        campaign=_of_campaign(record, row, other, plan, system),
        work=_of_work(before, after, horizon),
        items=list(
            {
                _key(item): item
                for item in (*after, *before)  # as they stand, where they stand already
                if item.due_on is not None and item.due_on <= horizon
            }.values()
        ),
    )


def planned_row(record: Record, entry: PlanEntry) -> PlanRow | None:
    """The row of the record for an entry of the plan; None where the record doesn't have it."""
    return next(
        (
            row
            for row in record.plan
            if row.press_id == entry.press_id
            and record.crops[row.crop] == entry.crop.code
            and row.start_on == entry.start_on
        ),
        None,
    )


def _of_campaign(
    record: Record, row: PlanRow, other: PlanRow, plan: Sequence[PlanRow], system: str
) -> list[Compared]:
    loads = load_of(record, record.plan, row), load_of(record, plan, other)
    cannot = _("can't be said: too few runs of this crop there")
    hours = [cannot if load.hours is None else units.show_hours(load.hours, system) for load in loads]
    paces = [
        cannot
        if load.slow is None or load.fast is None
        else _("%(slow)s to %(fast)s")
        % {"slow": units.show_rate(load.slow, system), "fast": units.show_rate(load.fast, system)}
        for load in loads
    ]
    lines = [
        (_("Press"), [record.presses[each.press_id].label for each in (row, other)]),
        (_("Crop"), [record.crops[each.crop] for each in (row, other)]),
        (_("From"), [day(each.start_on) for each in (row, other)]),
        (_("Until"), [day(each.end_on) for each in (row, other)]),
        (_("Seed"), [units.show_mass(each.seed_kg, system) for each in (row, other)]),
        (_("Usual pace, in eight of ten runs"), paces),
        (_("Hours of pressing"), hours),
        (_("On its fullest day"), [load_words(load, system) or cannot for load in loads]),
    ]
    return [Compared(what, *both) for what, both in lines]


def _of_work(before: Sequence[DueItem], after: Sequence[DueItem], horizon: date) -> list[Compared]:
    """What falls due within the horizon by either plan, the earliest first."""
    both: dict[tuple[object, ...], list[DueItem | None]] = {}
    for place, items in enumerate((before, after)):
        for item in items:
            both.setdefault(_key(item), [None, None])[place] = item
    shown = [
        pair
        for pair in both.values()
        if any(one is not None and one.due_on is not None and one.due_on <= horizon for one in pair)
    ]
    shown.sort(key=lambda pair: min(one.due_on or date.max for one in pair if one is not None))
    return [Compared(_job(pair), _when(pair[0]), _when(pair[1])) for pair in shown]


def _key(item: DueItem) -> tuple[object, ...]:
    return item.rule_id, item.press_id, item.position_id, item.part_id, item.edge


def _job(pair: list[DueItem | None]) -> str:
    item = pair[0] or pair[1]
    assert item is not None
    what = " ".join(filter(None, (kind_words(item.kind) if item.kind else "", item.part, item.edge)))
    return _("%(press)s: %(work)s, %(what)s") % {
        "press": item.press_name or item.press,
        "work": action_word(item.action),
        "what": what or item.rule,
    }


def _when(item: DueItem | None) -> str:
    if item is None or item.due_on is None:
        return _("no day known")
    if item.early_on is None or item.late_on is None or item.early_on == item.late_on:
        return day(item.due_on)
    return _("%(day)s (%(early)s to %(late)s)") % {
        "day": day(item.due_on),
        "early": day(item.early_on),
        "late": day(item.late_on),
    }
