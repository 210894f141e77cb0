"""Calls: the due items to be reminded of at one instant, with their stage and what people said of them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from wearlog.compare.shopping.of_day import days_to_order, list_of_day
from wearlog.equipment.models import PartType
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import due_items
from wearlog.forecasts.triggers.incident import TRIGGER as INCIDENT
from wearlog.people.models import Mill, User
from wearlog.reminders.models import Mark, MarkKind, Stage
from wearlog.reminders.outbox.keys import in_batches, item_key
from wearlog.reminders.outbox.stages import OVERDUE_WEEKS, overdue_week, stage_of, telling_of
from wearlog.reminders.typing_up import is_of_the_past
from wearlog.service.models import Action, IncidentKind, Rule

WORTH_A_LOOK = ("later", "coming", "due", "overdue")


@dataclass(frozen=True)
class Marks:
    """What people said of one item: the hold-back in force today (`held`), the mark that gives it to somebody
    (`given`), and who has seen it when, newest last (`seen`)."""

    held: Mark | None = None
    given: Mark | None = None
    seen: tuple[Mark, ...] = ()
    held_before: Mark | None = None
    """The last hold-back whose day has come."""

    @property
    def has_any(self) -> bool:
        return bool(self.held or self.given or self.seen)


NO_MARKS = Marks()


@dataclass(frozen=True, kw_only=True)
class Call:
    """One item to be reminded of today.

    telling: the stage as in a message's key. seen_as: the stage as in a "seen" mark, which has to be renewed
    for each week of being overdue. order_on: the last day to order the part, None where none needs ordering.
    urgent: it follows metal in the seed. past: it became due more than a week ago. long: overdue for so long
    that only lists include it.
    """

    item: DueItem
    stage: Stage
    telling: str
    seen_as: str
    order_on: date | None
    urgent: bool
    past: bool
    long: bool
    marks: Marks = field(default=NO_MARKS)

    @property
    def pressing(self) -> bool:
        return self.stage in (Stage.DUE, Stage.OVERDUE)

    def seen_by(self, person_id: int) -> bool:
        return any(mark.made_by_id == person_id and mark.telling == self.seen_as for mark in self.marks.seen)


@dataclass(frozen=True, kw_only=True)
class Line:
    """One task in a person's list, with its caution in `item`.

    stage: includes *order*, which `item.state` does not. order_on: the last day to order the part. new: this
    person has not been told of it in this stage. held, given: what people said of it (`held.until_on`,
    `held.reason`, `held.made_by`, `given.given_to`); such tasks stay in the list with a remark. seen: by the
    reader.
    """

    item: DueItem
    stage: Stage
    order_on: date | None = None
    new: bool = True
    held: Mark | None = None
    given: Mark | None = None
    seen: bool = False


def calls_now(*, at: datetime, rule_id: int | None = None) -> list[Call]:
    """The calls of today in the mill's zone, most pressing first. Reads only. With `rule_id` those of one
    rule, which is fast enough to repeat before each mail."""
    today = at.astimezone(Mill.current().zone).date()
    items = due_items(as_of=today)
    orders = order_days(items, today=today)
    items = [item for item in items if item.state in WORTH_A_LOOK]
    if rule_id is not None:
        items = [item for item in items if item.rule_id == rule_id]
    staged = [
        (item, stage, orders.get(item_key(item)))
        for item in items
        if (stage := stage_of(item, today=today, order_on=orders.get(item_key(item)))) is not None
    ]
    marks = marks_by_item_key(items=[item for item, _stage, _order in staged], today=today)
    metal = metal_rules(item for item, _stage, _order in staged)
    return [
        call_of(
            item,
            stage,
            order_on=order,
            today=today,
            marks=marks.get(item_key(item), NO_MARKS),
            urgent=item.rule_id in metal and item.trigger == INCIDENT.name and stage == Stage.DUE,
        )
        for item, stage, order in staged
    ]


def call_of(
    item: DueItem, stage: Stage, *, order_on: date | None, today: date, marks: Marks, urgent: bool
) -> Call:
    week = overdue_week(item, today=today)
    hold = marks.held_before.pk if marks.held_before is not None else None
    return Call(
        item=item,
        stage=stage,
        telling=telling_of(stage, week=min(week, OVERDUE_WEEKS), after_hold=hold),
        seen_as=telling_of(stage, week=week, after_hold=hold),
        order_on=order_on,
        urgent=urgent,
        past=is_of_the_past(item, today=today),
        long=week > OVERDUE_WEEKS,
        marks=marks,
    )


def line_of(call: Call, person: User, *, new: bool) -> Line:
    return Line(
        item=call.item,
        stage=call.stage,
        order_on=call.order_on,
        new=new,
        held=call.marks.held,
        given=call.marks.given,
        seen=call.seen_by(person.pk),
    )


def metal_rules(items: Iterable[DueItem]) -> set[int]:
    """The ids of those rules triggered by an incident that ask for work after metal in the seed."""
    ids = {item.rule_id for item in items if item.trigger == INCIDENT.name}
    if not ids:
        return set()
    rules = Rule.objects.filter(pk__in=ids).values_list("pk", "after_incident")
    return {pk for pk, kinds in rules if IncidentKind.METAL in kinds.split()}


def order_days(items: Sequence[DueItem], *, today: date, behind: bool = False) -> dict[str, date]:
    """By item key, the last day to order a new part: that of the list of what to order, for the replacements
    that a line of it is for. items: those of every press. behind: they don't take in yet what was learned a
    moment ago."""
    wanted = [
        item
        for item in items
        if item.action == Action.REPLACE and item.part_id is not None and item.early_on is not None
    ]
    if not wanted or not PartType.objects.filter(lead_time_days__gt=0).exists():
        return {}
    days = days_to_order(list_of_day(today, items, may_be_behind=behind))
    return {item_key(item): days[item.part_id] for item in wanted if item.part_id in days}


def marks_by_item_key(*, items: Sequence[DueItem], today: date) -> Mapping[str, Marks]:
    """The marks of these items, by item key; one query for each 500 items."""
    rows: dict[str, list[Mark]] = defaultdict(list)
    for keys in in_batches([item_key(item) for item in items]):
        open_marks = Mark.objects.open().filter(item_key__in=keys)
        for mark in open_marks.select_related("made_by", "given_to"):
            rows[mark.item_key].append(mark)
    return {key: marks_of(said, today) for key, said in rows.items()}


def marks_of(said: Sequence[Mark], today: date) -> Marks:
    held = next((mark for mark in said if mark.kind == MarkKind.HELD), None)
    over = held is not None and held.until_on is not None and held.until_on <= today
    return Marks(
        held=None if over else held,
        held_before=held if over else None,
        given=next((mark for mark in said if mark.kind == MarkKind.GIVEN), None),
        seen=tuple(mark for mark in said if mark.kind == MarkKind.SEEN),
    )
