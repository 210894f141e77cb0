"""All due items of a record: each rule for each of its things, by its first trigger to trip."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from wearlog.forecasts import things
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.items import STATES, DueItem
from wearlog.forecasts.memory.scope import Scope
from wearlog.forecasts.outlook import Outlook
from wearlog.forecasts.things import Thing, crops_of
from wearlog.forecasts.triggers import counting
from wearlog.forecasts.triggers.all import ALL, BY_NAME, first_of, state_of
from wearlog.forecasts.triggers.case import Case
from wearlog.forecasts.triggers.limit import TRIGGER as LIMIT
from wearlog.forecasts.triggers.trips import Trip
from wearlog.history.record import Record
from wearlog.history.rows import PartRow, RuleRow
from wearlog.lockout.cautions.caution import NOT_YET
from wearlog.lockout.cautions.queries import Cautions, cautions_for
from wearlog.service.work import TAKES_NEXT_EDGE


def items_of(record: Record) -> list[DueItem]:
    """Every due item of the mill, most urgent first."""
    record.timelines_of(record.presses)  # so that the presses are read together
    board = Board(record)
    return in_order(with_cautions([item for rule in record.rules for item in board.items(rule)]))


def with_cautions(items: Sequence[DueItem], cautions: Cautions | None = None) -> Iterator[DueItem]:
    """The items, each with its current caution; two queries, or none where the cautions of their presses are
    given."""
    cautions = cautions or cautions_for({item.press_id for item in items})
    for item in items:
        yield replace(item, caution=cautions.of(item.press_id, action=item.action, kind=item.kind))


def in_order(items: Iterable[DueItem]) -> list[DueItem]:
    """Most urgent first: by state, then day, then press, position, part and rule."""
    return sorted(
        items,
        key=lambda item: (
            STATES.index(item.state),
            item.due_on or date.max,
            item.press,
            item.position,
            item.part,
            item.edge,
            item.rule,
        ),
    )


class Board:
    """Applies rules to things. Expected seasons and wear are computed once and shared by all rules.

    With a scope only its press and its parts are considered; `edges` still hold the edges of the whole
    mill."""

    def __init__(self, record: Record, edges: Edges | None = None, scope: Scope | None = None) -> None:
        self.record = record
        self.outlook = Outlook(record) if scope is None else scope.outlook
        self.edges = edges or Edges(record)
        self.scope = scope

    def items_where(self, *, at_limit: bool) -> Iterator[DueItem]:
        """The items of all rules with a wear limit (`at_limit`), or of all other rules."""
        for rule in self.record.rules:
            if LIMIT.is_used_by(rule) == at_limit:
                yield from self.items(rule)

    def items(self, rule: RuleRow) -> Iterator[DueItem]:
        """The items of one rule: one for each fitted part if the rule names a kind or a part type, else one
        for each press; for a rule with a wear limit also one for each part that is off the press."""
        for_parts = bool(rule.kind or rule.type_id)
        about = things.fitted_parts(self.record, rule) if for_parts else things.presses(self.record, rule)
        for thing in about:
            if not self._in_scope(thing.press_id, thing.part):
                continue
            case = self._case(rule, thing)
            trips = [trip for trigger in ALL if (trip := trigger.of(case)) is not None]
            if trips:
                yield self._item(case, trips)
        if LIMIT.is_used_by(rule):
            yield from self._limits_off_press(rule, with_fitted=not for_parts)

    def _case(self, rule: RuleRow, thing: Thing) -> Case:
        return Case(self.edges, self.outlook, rule, thing, counting.start_of(self.record, rule, thing))

    def _in_scope(self, press_id: int, part: PartRow | None) -> bool:
        if self.scope is None:
            return True
        return press_id == self.scope.press_id if part is None else part.id in self.scope.parts

    def _limits_off_press(self, rule: RuleRow, *, with_fitted: bool) -> Iterator[DueItem]:
        """Wear limits of parts that are off the press (or on a retired press), at their last position; for a
        rule that names neither kind nor type, of all parts whose type has a limit."""
        for part_id, fittings in self.record.fittings_of.items():
            part, last = self.record.parts[part_id], fittings[-1]
            if not self._in_scope(self.record.positions[last.position_id].press_id, part):
                continue
            type_ = self.record.types[part.type_id]
            position = self.record.positions[last.position_id]
            on_press = last.removed is None and self.record.presses[position.press_id].retired_on is None
            if part.retired_on is not None or (on_press and not with_fitted):
                continue
            if with_fitted and (type_.new_mm is None or type_.limit_mm is None):
                continue
            if things.is_about(self.record, rule, part, position):
                thing = Thing(
                    position.press_id,
                    position,
                    part,
                    type_,
                    last if last.removed is None else None,
                    things.spans_of(self.record, fittings),
                )
                case = self._case(rule, thing)
                trip = LIMIT.of(case)
                if trip is not None:
                    yield self._item(case, [trip])

    def _item(self, case: Case, trips: list[Trip]) -> DueItem:
        record, rule, thing = self.record, case.rule, case.thing
        first = first_of(trips)
        dated = [trip for trip in trips if trip.due is not None]
        if first.due is not None:
            # The first of several triggers to trip is at least as early as each of them.
            first = replace(
                first,
                early=min(trip.early for trip in dated if trip.early is not None),
                late=min((trip.late for trip in dated if trip.late is not None), default=None),
            )
        action = self._action(rule, thing.part)
        press = record.presses[thing.press_id]
        left_kg, left_h = self._left(thing, first)
        return DueItem(
            rule=rule.code,
            action=action,
            press=press.code,
            position="" if thing.position is None else thing.position.name,
            part="" if thing.part is None else thing.part.code,
            edge=self._edge(thing),
            state=state_of(first, as_of=record.as_of, lead_days=rule.lead_days),
            trigger=first.trigger,
            due_on=first.due,
            early_on=first.early,
            late_on=first.late,
            left_kg=left_kg,
            left_h=left_h,
            left_days=None if first.due is None else float((first.due - record.as_of).days),
            basis=first.basis,
            why=f"{first.why} {self._guessed(case, first)}".rstrip(),
            caution=NOT_YET,
            rule_id=rule.id,
            press_id=press.id,
            position_id=None if thing.position is None else thing.position.id,
            part_id=None if thing.part is None else thing.part.id,
            fitting_id=None if thing.fitting is None else thing.fitting.id,
            kind=thing.kind,
            press_name=press.label,
            instructions=rule.instructions,
            size_mm=None if thing.type is None else thing.type.size_mm,
            lead_days=rule.lead_days,
            cycle=first.cycle,
            wear=next((trip.wear for trip in trips if trip.wear is not None), None),
        )

    def _guessed(self, case: Case, trip: Trip) -> str:
        """The share of guessed seed behind the trip, in words; empty where the trigger does not depend on
        seed or where the share is small."""
        guessed = BY_NAME[trip.trigger].guessed
        return "" if guessed is None else guessed(case).words()

    def _edge(self, thing: Thing) -> str:
        return "" if thing.part is None else self.edges.last_of(thing.part.id).key[1]

    def _action(self, rule: RuleRow, part: PartRow | None) -> str:
        """The rule's action; for a part without an unused edge, turning becomes replacing."""
        if part is not None and rule.action in TAKES_NEXT_EDGE and self.edges.unused(part) == 0:
            return "replace"
        return rule.action

    def _left(self, thing: Thing, trip: Trip) -> tuple[float | None, float | None]:
        """Seed through the thing and hours of its press until the trip (negative: since the trip).

        The value in the trigger's own measure is exact; the other is read from the expected path, or the
        log."""
        if trip.at is not None:
            kg = -counting.kilograms_in(self.record, thing, trip.at, self.record.end)
            hours = -counting.hours_in(self.record, thing, trip.at, self.record.end)
            return (
                kg if trip.left_kg is None else trip.left_kg,
                hours if trip.left_h is None else trip.left_h,
            )
        crops = crops_of(self.record.crops, thing.type)
        seed = self.outlook.seed_path(thing.press_id, thing.share, crops)
        hours_path = self.outlook.hours_path(thing.press_id, crops)
        kg_left, h_left = trip.left_kg, trip.left_h
        if kg_left is not None and h_left is None and seed is not None and hours_path is not None:
            h_left = float(np.interp(kg_left, seed.total, hours_path.total))
        elif h_left is not None and kg_left is None and seed is not None and hours_path is not None:
            kg_left = float(np.interp(h_left, hours_path.total, seed.total))
        elif kg_left is None and h_left is None and trip.due is not None and trip.due > self.record.as_of:
            kg_left = None if seed is None else seed.by(trip.due)
            h_left = None if hours_path is None else hours_path.by(trip.due)
        return kg_left, h_left
