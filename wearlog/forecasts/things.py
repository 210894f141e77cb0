"""The subjects of a rule's items: a press, a position, or a part with all the places it has worked in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from wearlog.history.record import Record
from wearlog.history.rows import FittingRow, PartRow, PositionRow, RuleRow, TypeRow

ALWAYS = float("-inf")


@dataclass(frozen=True)
class Span:
    """A period of time at one place; `barrel` is empty for the whole press's seed, scaled by `share`."""

    press_id: int
    position_id: int | None
    barrel: str
    share: float
    start: float
    end: float


@dataclass(frozen=True)
class Thing:
    """The subject of one item. `spans` are in order of time, up to the end of the as-of day."""

    press_id: int
    position: PositionRow | None
    part: PartRow | None
    type: TypeRow | None
    fitting: FittingRow | None
    spans: tuple[Span, ...]

    @property
    def kind(self) -> str:
        if self.type is not None:
            return self.type.kind
        return self.position.kind if self.position is not None else ""

    @property
    def share(self) -> float:
        return 1.0 if self.position is None else self.position.share


def spans_of(record: Record, fittings: tuple[FittingRow, ...]) -> tuple[Span, ...]:
    """The places and times of fittings, up to the end of the as-of day."""
    spans = []
    for fitting in fittings:
        position = record.positions[fitting.position_id]
        end = record.end if fitting.removed is None else fitting.removed
        spans.append(
            Span(position.press_id, position.id, position.barrel, position.share, fitting.fitted, end)
        )
    return tuple(spans)


def is_about(record: Record, rule: RuleRow, part: PartRow, position: PositionRow) -> bool:
    """Whether a rule for parts applies to a part at a position (where it is, or last was)."""
    type_ = record.types[part.type_id]
    return (
        (not rule.kind or type_.kind == rule.kind)
        and (rule.type_id is None or type_.id == rule.type_id)
        and (rule.press_id is None or position.press_id == rule.press_id)
        and (not rule.position or position.name == rule.position)
    )


def fitted_parts(record: Record, rule: RuleRow) -> Iterator[Thing]:
    """A thing for each fitted part on a press that is not retired, if the rule applies to it."""
    for part_id, fittings in record.fittings_of.items():
        last = fittings[-1]
        part = record.parts[part_id]
        if last.removed is not None or part.retired_on is not None:
            continue
        position = record.positions[last.position_id]
        if record.presses[position.press_id].retired_on is not None:
            continue
        if is_about(record, rule, part, position):
            yield Thing(
                position.press_id,
                position,
                part,
                record.types[part.type_id],
                last,
                spans_of(record, fittings),
            )


def presses(record: Record, rule: RuleRow) -> Iterator[Thing]:
    """A thing for each press in service, or, if the rule names a position, for each such position on one."""
    for press in record.presses.values():
        if press.retired_on is not None or (rule.press_id is not None and press.id != rule.press_id):
            continue
        if not rule.position:
            span = Span(press.id, None, "", 1.0, ALWAYS, record.end)
            yield Thing(press.id, None, None, None, None, (span,))
            continue
        for position in record.positions.values():
            if position.press_id == press.id and position.name == rule.position:
                span = Span(press.id, position.id, position.barrel, position.share, ALWAYS, record.end)
                yield Thing(press.id, position, None, None, None, (span,))


def crops_of(names: tuple[str, ...], type_: TypeRow | None) -> list[int] | None:
    """The crops that a part type is used for, as columns; None for all."""
    if type_ is None:
        return None
    return [index for index, crop in enumerate(names) if crop in type_.for_crops] or None


def place_at(thing: Thing, instant: float) -> Span | None:
    """The place of the thing at an instant; None while a part was on the shelf."""
    for span in thing.spans:
        if span.start <= instant < span.end:
            return span
    return None
