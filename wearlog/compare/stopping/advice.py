"""Whether a worn screw, die or barrel still pays: the loss per tonne now, compared with the average cost per
tonne so far (`calc.policy.stopping`).

The age is that of the part's whole life since it was new or rebuilt (of a die, that of the edge in use):
taking it off and putting it back changes nothing. Oil per kilogram of seed comes from analyses of the oil
left in the cake, else from the oil that was weighed; hours per tonne come from the runs. Runs of all crops
tell together, each compared within one press, one harvest and one crop only, since these differ in oil by
more than a worn part costs; a harvest is the season in which a run lies. Runs of one week are averaged.
Screw, die and barrel of a press age together, and what each costs is told apart.

A screw's or barrel's own life tells how its loss grows; edges of dies are too short for that, so those of a
press and type tell together. Where three lives or more of a type tell something, each is drawn to what is
usual for them.

Advice is given only if the 95 % range of the loss lies wholly above or below the average.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from wearlog.calc import policy
from wearlog.calc.life import Limits
from wearlog.calc.policy import Course, Trend, Usual
from wearlog.compare.ledger import CAKE, LABOUR, OIL, STAND_STILL, Ledger, oil_lost_in_cake
from wearlog.compare.stopping.pressed import PressedRuns, counts, pressed
from wearlog.compare.stopping.seats import Lives, Seat, SeatStay
from wearlog.compare.sums import WEEK_S
from wearlog.equipment.kinds import KINDS, LEAVES_OIL, Kind, Loss
from wearlog.history.record import Record
from wearlog.history.rows import Flags, Floats, Ints, PartRow
from wearlog.runs.seasons import SEASON_START, parse_start, season_years


class NoStop(StrEnum):
    """Why there is no advice on whether to stop."""

    NO_PART_PRICE = "no part price"
    NO_OIL_PRICE = "no oil price"
    NO_LABOUR_PRICE = "no labour price"
    NO_OIL_FIGURES = "no oil figures"
    TOO_LITTLE_SEEN = "too little seen"
    UNSURE = "unsure"


@dataclass(frozen=True)
class Stop:
    """`stop` is None where there is no advice, and `why` says why. `mix_kg` is the seed of the life by crop.
    Money is per tonne of seed; oil is in kg
    per tonne, positive where less oil is extracted than when the part was new. `cost` is that of the part
    (of a die, of one edge) and the work on it; `loss` the trend of the loss, `lives` how many lives of the
    type told it together (0: this part alone). `left_out` names missing prices whose loss is not included."""

    part: PartRow
    press_id: int
    seed_kg: float
    mix_kg: tuple[float, ...]
    edge: str = ""
    cost: float | None = None
    loss: Trend | None = None
    lives: int = 0
    analysed: bool = False
    lost_oil_kg_per_t: float | None = None
    extra_h_per_t: float | None = None
    loss_now: float | None = None
    loss_range: Limits | None = None
    average_so_far: float | None = None
    left_out: tuple[str, ...] = ()
    stop: bool | None = None
    why: NoStop | None = None

    @property
    def courses(self) -> tuple[Course, Course, Course] | None:
        """What a tonne costs on average as the part ages: by the least loss of the range, by the middle and
        by the most."""
        if self.cost is None or self.loss is None:
            return None
        span = self.loss.limits(CONFIDENCE)
        assert span.low is not None
        assert span.high is not None
        low, middle, high = (Course(self.cost, slope) for slope in (span.low, self.loss.slope, span.high))
        return low, middle, high


CONFIDENCE = 0.95


@dataclass(frozen=True)
class Asked:
    """Prices to reckon with in place of those on record: of a kilogram of oil, and of the part."""

    oil: float | None = None
    part: float | None = None


def stops(
    record: Record, ledger: Ledger, asked: Asked = Asked(), *, part_id: int | None = None
) -> list[Stop]:
    """The advice for each screw, die and barrel that is on a press and has pressed seed, in the order of
    kinds and codes; part_id: for this part alone."""
    lives = Lives.of(record)
    stays = sorted(lives.of_part.values(), key=lambda stay: _place(record, stay))
    presses = {record.positions[stay.position_id].press_id for stay in stays}
    counted = {press_id for press_id in presses if counts(record.runs.get(press_id)).any()}
    made, ground = [], _Ground(record, ledger, asked or Asked(), lives)
    for stay in stays:
        part, press_id = record.parts[stay.part_id], record.positions[stay.position_id].press_id
        if part.retired_on is not None or part_id not in (None, part.id) or press_id not in counted:
            continue
        taken = ground.taken_kg(stay)
        if taken.sum() > 0:
            mix = tuple(taken.tolist())
            made.append(ground.advice(stay, Stop(part, press_id, float(taken.sum()), mix, stay.edge)))
    return made


def _place(record: Record, stay: SeatStay) -> tuple[int, str, str]:
    part = record.parts[stay.part_id]
    return LEAVES_OIL.index(Kind(record.types[part.type_id].kind)), part.code, stay.edge


def _by_press(kind: str) -> bool:
    return KINDS[Kind(kind)].loss is Loss.ON_PRESS


@dataclass(frozen=True, eq=False)
class _OnPress:
    """The runs of a press that count, with what sat on its wearing seats; `harvest` (n,)."""

    runs: PressedRuns
    seats: Sequence[Seat]
    harvest: Ints
    week: Ints


@dataclass(frozen=True)
class _Told:
    """The trends of the loss in money, of the oil left in the cake in kg, and of the hours, each per tonne
    and tonne."""

    loss: Trend
    lost_kg: float
    extra_h: float
    analysed: bool


class _Ground:
    """What is read and worked out once for all parts."""

    def __init__(self, record: Record, ledger: Ledger, asked: Asked, lives: Lives) -> None:
        self.record, self.ledger, self.asked, self.lives = record, ledger, asked, lives
        self.worth_of_oil = oil_lost_in_cake(
            asked.oil if asked.oil is not None else ledger.prices.on(OIL, record.as_of),
            ledger.prices.on(CAKE, record.as_of),
        )
        self.stand_still = ledger.prices.on(STAND_STILL, record.as_of)
        self._presses: Mapping[int, _OnPress] | None = None
        self._of_type: dict[int, tuple[dict[tuple[int, ...], _Told], Usual | None]] = {}

    def taken_kg(self, stay: SeatStay) -> Floats:
        """The seed of the life by crop so far."""
        position = self.record.positions[stay.position_id]
        timeline = self.record.timelines_of([position.press_id])[position.press_id]
        kilograms = timeline.kilograms(stay.start, self.record.end, position.barrel or None)[0]
        share = 1.0 if position.barrel in timeline.barrel_lanes else position.share
        return np.asarray(stay.before_kg + share * kilograms)

    def advice(self, stay: SeatStay, bare: Stop) -> Stop:
        type_ = self.record.types[bare.part.type_id]
        price = self.asked.part if self.asked.part is not None else self.ledger.unit_cost.get(type_.id)
        if price is None:
            return replace(bare, why=NoStop.NO_PART_PRICE)
        if self.worth_of_oil is None:
            return replace(bare, why=NoStop.NO_OIL_PRICE)
        work = self._work(stay)
        if work is None:
            return replace(bare, why=NoStop.NO_LABOUR_PRICE)
        bare = replace(bare, cost=price / max(type_.edges, 1) + work)
        told, usual = self._told(type_.id)
        own = told.get(self._unit(stay, type_.kind, bare.press_id))
        loss = own.loss if own else None
        tonnes = bare.seed_kg / 1000
        if usual is not None:
            loss = policy.drawn_to_usual(loss, usual)
        elif loss is None:
            return replace(bare, why=NoStop.NO_OIL_FIGURES)
        elif not _by_press(type_.kind) and loss.seen < tonnes / 2:
            return replace(bare, why=NoStop.TOO_LITTLE_SEEN)
        assert bare.cost is not None
        found = policy.stop_rule(
            part_and_work_cost=bare.cost, tonnes=tonnes, loss=loss, confidence=CONFIDENCE
        )
        return replace(
            bare,
            loss=loss,
            lives=usual.parts if usual else 0,
            analysed=any(each.analysed for each in ([own] if own else told.values())),
            lost_oil_kg_per_t=own.lost_kg * tonnes if own and not usual else None,
            extra_h_per_t=own.extra_h * tonnes if own and not usual else None,
            loss_now=found.loss_now,
            loss_range=found.loss_range,
            average_so_far=found.average_so_far,
            left_out=() if self.stand_still is not None else (STAND_STILL,),
            stop=found.stop,
            why=NoStop.UNSURE if found.stop is None else None,
        )

    def _work(self, stay: SeatStay) -> float | None:
        """The cost of the work on the part in this life; None where labour has no price."""
        since = min(each.start for each in self.lives.of_seat[stay.position_id] if each.life == stay.life)
        total = 0.0
        for service in self.record.services:
            if service.part_id != stay.part_id or service.done < since:
                continue
            bill = self.ledger.bill(service.id)
            price = self.ledger.prices.on(LABOUR, self.record.day_of(service.done))
            if bill.labour_h and price is None:
                return None
            total += (bill.cost or 0.0) + (bill.labour_h or 0.0) * (price or 0.0)
        return total

    def _unit(self, stay: SeatStay, kind: str, press_id: int) -> tuple[int, ...]:
        """What tells of a part: its own life, or all edges of its type on the press."""
        return (press_id,) if _by_press(kind) else (-1, stay.life)

    def _told(self, type_id: int) -> tuple[dict[tuple[int, ...], _Told], Usual | None]:
        """What each life of a type told (of dies: what those on each press told), and what is usual."""
        if type_id not in self._of_type:
            kind = self.record.types[type_id].kind
            units: dict[tuple[int, ...], dict[int, set[int]]] = {}  # by press the lives that sat there
            for stays in self.lives.of_seat.values():
                for stay in stays:
                    if self.record.parts[stay.part_id].type_id == type_id:
                        press_id = self.record.positions[stay.position_id].press_id
                        of_press = units.setdefault(self._unit(stay, kind, press_id), {})
                        of_press.setdefault(press_id, set()).add(stay.life)
            found = {
                unit: told
                for unit, of_press in units.items()
                if (told := self._of_lives(kind, of_press)) is not None
            }
            self._of_type[type_id] = found, policy.usual_trend([each.loss for each in found.values()])
        return self._of_type[type_id]

    def _of_lives(self, kind: str, of_press: Mapping[int, set[int]]) -> _Told | None:
        """What runs under these lives told, by press."""
        tables = [
            _Table.under(press_id, self.presses[press_id], kind, np.array(sorted(lives), dtype=np.int64))
            for press_id, lives in sorted(of_press.items())
            if press_id in self.presses
        ]
        tables = [table for table in tables if table.age_t.size]
        if not tables:
            return None
        for analysed in (True, False):
            told = self._trends(tables, analysed=analysed)
            if told is not None:
                return told
        return None

    def _trends(self, tables: Sequence[_Table], *, analysed: bool) -> _Told | None:
        kept = [table.where(~np.isnan(table.analysed if analysed else table.oil)) for table in tables]
        kept = [table for table in kept if table.age_t.size]
        if not kept:
            return None
        age = np.concatenate([table.age_t for table in kept])
        others = [
            np.concatenate([table.others[kind] for table in kept])
            for kind in LEAVES_OIL
            if all(kind in table.others for table in kept)
        ]
        ages = np.stack([age, *(other for other in others if not np.isnan(other).any())])
        crop, place, week = (
            np.concatenate([getattr(table, name) for table in kept]) for name in ("crop", "place", "week")
        )
        group = place * len(self.record.crops) + crop
        left_kg = -1000 * np.concatenate([table.analysed if analysed else table.oil for table in kept])
        hours = np.concatenate([table.hours_per_t for table in kept])
        worth = self.worth_of_oil
        assert worth is not None
        figures = np.stack((left_kg * worth + hours * (self.stand_still or 0.0), left_kg, hours))
        loss, lost_kg, extra_h = (trends[0] for trends in policy.trends_within(ages, figures, group, week))
        if loss is None or lost_kg is None or extra_h is None:
            return None
        # What was seen of the life: in each harvest on each press, whatever crops.
        seen = sum(float(np.ptp(age[place == each])) for each in np.unique(place))
        return _Told(replace(loss, seen=seen), lost_kg.slope, extra_h.slope, analysed)

    @property
    def presses(self) -> Mapping[int, _OnPress]:
        """Read when the first part has all the prices that advice needs."""
        if self._presses is None:
            record, start = self.record, parse_start(SEASON_START)
            of_seat = self.lives.of_seat
            runs = pressed(record, {record.positions[position_id].press_id for position_id in of_seat})
            self._presses = {
                press_id: _OnPress(
                    own,
                    self.lives.seats(record, press_id, own.start),
                    season_years(own.start, start, record.zone),
                    np.floor(own.start / WEEK_S).astype(np.int64),
                )
                for press_id, own in runs.items()
            }
        return self._presses


@dataclass(frozen=True, eq=False)
class _Table:
    """Runs under some lives, (n,) each: the age of the life, those of the other wearing parts by kind (NaN:
    none was there), press and harvest in one number, and the figures. Where two seats of a kind are alike,
    as in a press with two barrels, their mean counts."""

    age_t: Floats
    others: dict[str, Floats]
    place: Ints
    crop: Ints
    week: Ints
    hours_per_t: Floats
    oil: Floats
    analysed: Floats

    @classmethod
    def under(cls, press_id: int, on: _OnPress, kind: str, lives: Ints) -> _Table:
        mine = [seat for seat in on.seats if seat.kind == kind]
        inside = [np.isin(seat.life, lives) for seat in mine]
        own: Flags = (
            np.any(np.stack(inside), axis=0) if inside else np.zeros(on.runs.start.size, dtype=np.bool_)
        )
        ages = [np.where(within, seat.age_t, np.nan) for seat, within in zip(mine, inside, strict=True)]
        others = {
            str(other): _mean([seat.age_t for seat in on.seats if seat.kind == other])[own]
            for other in LEAVES_OIL
            if other != kind and any(seat.kind == other for seat in on.seats)
        }
        runs = on.runs
        return cls(
            age_t=_mean(ages)[own] if ages else np.zeros(0),
            others=others,
            place=press_id * 10_000 + on.harvest[own],
            crop=runs.crop[own],
            week=on.week[own],
            hours_per_t=1000 * runs.hours[own] / runs.seed_kg[own],
            oil=runs.oil[own],
            analysed=runs.analysed[own],
        )

    def where(self, kept: Flags) -> _Table:
        return _Table(
            self.age_t[kept],
            {kind: age[kept] for kind, age in self.others.items()},
            self.place[kept],
            self.crop[kept],
            self.week[kept],
            self.hours_per_t[kept],
            self.oil[kept],
            self.analysed[kept],
        )


def _mean(columns: Sequence[Floats]) -> Floats:
    """The mean of what is known in each row."""
    stacked = np.stack(columns)
    known = ~np.isnan(stacked)
    total = np.where(known, stacked, 0.0).sum(axis=0)
    mean: Floats = np.divide(
        total, known.sum(axis=0), out=np.full(total.size, np.nan), where=known.any(axis=0)
    )
    return mean
