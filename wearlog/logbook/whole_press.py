"""Sets up a press with all that is known of it: its places, what sits there, its sources, rules and meter."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time
from decimal import Decimal

from wearlog.equipment.models import Fitting, Part, Position, Press
from wearlog.lockout.models import EnergySource
from wearlog.logbook import actions, things
from wearlog.logbook.door import entered
from wearlog.people.models import Mill, User
from wearlog.people.words import day_of
from wearlog.runs.models import Crop
from wearlog.service.entries import NewMeasurement, NewWork
from wearlog.service.models import Rule
from wearlog.service.work import Action


@dataclass(frozen=True, kw_only=True)
class SeatNow:
    """A place and what sits on it. Nothing here is saved yet, but for a part type that was there before.

    gauged_mm: the part's size as it was just gauged.
    """

    position: Position
    part: Part | None = None
    edge: str = ""
    gauged_mm: Decimal | None = None


@dataclass(frozen=True, kw_only=True)
class WholePress:
    """What is stated of a new press; none of it is saved yet."""

    press: Press
    seats: Sequence[SeatNow] = ()
    sources: Sequence[EnergySource] = ()
    rules: Sequence[Rule] = ()
    crops: Sequence[Crop] = ()
    meter_h: Decimal | None = None
    confirmed: Collection[str] = field(default_factory=tuple)


@entered
def set_up_press(*, by: User | None, at: datetime, whole: WholePress) -> Press:
    """Record all of it, or nothing if one thing is refused or doubted.

    What sits on the press is fitted from the beginning of the day on, so that a run of the same day counts
    for it; a gauge is logged as work of its own, so that rules count from it.
    """
    press = things.save_thing(by=by, at=at, thing=whole.press)
    for crop in whole.crops:
        things.save_thing(by=by, at=at, thing=crop)
    for source in whole.sources:
        source.press = press
        things.save_thing(by=by, at=at, thing=source)
    for seat in whole.seats:
        seat.position.press = press
        things.save_thing(by=by, at=at, thing=seat.position)
    for rule in whole.rules:
        things.save_thing(by=by, at=at, thing=rule)
    if whole.meter_h is not None:
        actions.log_reading(
            by=by,
            at=at,
            press_id=press.pk,
            read_at=at,
            meter_h=whole.meter_h,
            confirmed=whole.confirmed,
        )
    for seat in whole.seats:
        _occupy(by=by, at=at, press=press, seat=seat, confirmed=whole.confirmed)
    return press


@entered
def record_what_sits(
    *,
    by: User | None,
    at: datetime,
    press: Press,
    seats: Sequence[SeatNow],
    confirmed: Collection[str] = (),
) -> list[Fitting]:
    """Record the parts on places of a press where none is recorded: all of them, or none."""
    fitted = [_occupy(by=by, at=at, press=press, seat=seat, confirmed=confirmed) for seat in seats]
    return [fitting for fitting in fitted if fitting is not None]


def _occupy(
    *, by: User | None, at: datetime, press: Press, seat: SeatNow, confirmed: Collection[str]
) -> Fitting | None:
    if seat.part is None:
        return None
    if seat.part.part_type.pk is None:
        things.save_thing(by=by, at=at, thing=seat.part.part_type)
    seat.part.part_type = seat.part.part_type  # takes over the key that saving gave it
    things.save_thing(by=by, at=at, thing=seat.part)
    fitting = actions.fit(
        by=by,
        at=at,
        part_id=seat.part.pk,
        edge=seat.edge,
        position_id=seat.position.pk,
        fitted_at=_since(seat.position, at),
    )
    if seat.gauged_mm is not None:
        actions.log_work(
            by=by,
            at=at,
            entry=NewWork(
                press_id=press.pk,
                action=Action.MEASURE.value,
                done_at=at,
                position_id=seat.position.pk,
                expected_fitting_id=fitting.pk,
                measurements=(NewMeasurement(value_mm=seat.gauged_mm),),
            ),
            confirmed=confirmed,
        )
    return fitting


def _since(position: Position, at: datetime) -> datetime:
    """The beginning of the day, or when the place was emptied on that day."""
    morning = datetime.combine(day_of(at), time.min, Mill.current().zone)
    last = position.fittings.not_voided().order_by("-removed_at").first()
    removed = None if last is None else last.removed_at
    return morning if removed is None else max(morning, removed)
