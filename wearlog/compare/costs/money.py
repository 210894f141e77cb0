"""The money of groups of runs, per tonne of seed, and the kinds of cost by which groups may be compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from wearlog.calc.baskets import ENOUGH, Cells, Compared, compared, rates_of
from wearlog.calc.consumption import reach, together
from wearlog.calc.mix import Ground
from wearlog.compare.costs.kinds import CostKind, Lack, LeftOut, Sort
from wearlog.compare.costs.runs import RunCosts
from wearlog.compare.runtable import Floats, Places, RunTable

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Money:
    """Money of one line, in the mill's currency per tonne of seed, worked-out seed included and purge seed
    not (per hour where named so). `each` has the rate of each kind of cost that is known, of the line's
    basket or not. `cost_per_t` adds up those that all presses compared have on record; `left_out` names the
    others. `left` is oil and cake less seed and this cost, over the crops whose seed has a price, where the
    mill has any price of seed."""

    tonnes: float
    each: tuple[tuple[CostKind, float], ...]
    cost_per_t: float | None
    income_per_t: float | None
    seed_per_t: float | None
    left_per_t: float | None
    left_per_h: float | None
    left_out: tuple[LeftOut, ...]

    def per_t(self, sort: Sort) -> float | None:
        """The kinds of a sort together; of parts only those that are compared, so that each line adds up."""
        apart = {out.kind for out in self.left_out}
        own = [
            rate
            for kind, rate in self.each
            if kind.sort is sort and (sort is not Sort.PARTS or kind not in apart)
        ]
        return sum(own) if own else None


@dataclass(frozen=True, kw_only=True)
class PressCost:
    """What a tonne costs on a press: each kind of the basket as pressed, and at the crops that all ran
    (None without a crop in common); `apart` are known kinds that are not compared, as pressed."""

    press: str
    press_name: str
    tonnes: float
    pressed: tuple[tuple[CostKind, float], ...]
    common: tuple[tuple[CostKind, float], ...] | None
    apart: tuple[tuple[CostKind, float], ...]
    doubt: tuple[Floats, ...] = ()
    """By part type whose wear gauges told, the same types for each press: equally likely deviations of what a
    tonne costs, shape (cases,)."""

    @property
    def span(self) -> tuple[float, float] | None:
        """The total with how surely the wear of parts is known (80 %); None where no gauges told."""
        less, more = together([reach(each) for each in self.doubt])
        return (self.total - less, self.total + more) if less + more > 0 else None

    def is_toss_up(self, other: PressCost) -> bool:
        """Whether the 80 % range of the difference to another press includes 0. What is not known of a part
        type is the same for both."""
        apart = [mine - theirs for mine, theirs in zip(self.doubt, other.doubt, strict=True)]
        less, more = together([reach(each) for each in apart])
        return -more <= self.total - other.total <= less

    @property
    def total(self) -> float:
        """At the crops all ran where there are such, else as pressed."""
        return sum(rate for _kind, rate in (self.pressed if self.common is None else self.common))


@dataclass(frozen=True, kw_only=True)
class Basket:
    """The kinds of cost that all presses compared have on record, what is left out, and the presses."""

    kinds: tuple[CostKind, ...]
    left_out: tuple[LeftOut, ...]
    presses: tuple[PressCost, ...]
    on: tuple[str, ...]
    """The crops that all presses ran; empty where they have none in common."""
    no_price: tuple[str, ...]
    """Items that the mill has no price of at all: of oil, cake and seed."""


def basket_of(table: RunTable, costs: RunCosts, rows: Places) -> Basket:
    """The basket of the presses of these runs."""
    kinds = costs.kinds
    sizes = len(table.press_codes), len(table.crop_codes)
    cell = table.press[rows] * sizes[1] + table.crop[rows]
    tonnes, amount, on_record = (
        part.reshape(*sizes, -1) for part in _sums(table, costs, rows, cell, sizes[0] * sizes[1])
    )
    found = compared(Cells(tonnes[..., 0], amount, on_record), _lacking(table, costs) > 0)
    ran = np.flatnonzero(tonnes.sum(axis=(1, 2)) > 0).tolist()
    doubt = _doubt(costs, found, rows, cell, tonnes[..., 0])
    return Basket(
        kinds=tuple(kind for kind, kept in zip(kinds, found.kinds, strict=True) if kept),
        left_out=_left_out(table, costs, found, ran),
        presses=tuple(
            replace(_press_cost(table, kinds, found, press, float(tonnes[press].sum())), doubt=doubt[press])
            for press in ran
        ),
        on=_crops(table, found.ground),
        no_price=costs.no_price,
    )


def _doubt(
    costs: RunCosts, found: Compared, rows: Places, cell: Places, tonnes: Floats
) -> list[tuple[Floats, ...]]:
    """The deviations of each press (`PressCost.doubt`) for the part types that are compared: at the crops
    that all ran, else as pressed. tonnes: shape (presses, crops)."""
    kinds = [kind for kind, kept in zip(costs.kinds, found.kinds, strict=True) if kept]
    of_types = []
    for gauged in costs.gauged:
        if gauged.kind not in kinds:
            continue
        sums = np.bincount(cell, weights=gauged.used[rows], minlength=tonnes.size)
        amount: Floats = sums.astype(np.float64).reshape(tonnes.shape)
        if found.ground is None:
            each = np.nan_to_num(rates_of(amount, tonnes.sum(axis=1, keepdims=True)))
        else:
            each = np.nan_to_num(rates_of(amount, tonnes)) * found.ground.mix / sum(found.ground.mix)
        of_types.append(each @ (gauged.cases - 1).T)
    return [tuple(of_type[press] for of_type in of_types) for press in range(len(tonnes))]


def _lacking(table: RunTable, costs: RunCosts) -> Floats:
    """1 where a press has no figure for a kind, else 0; shape (presses, kinds)."""
    found = np.zeros((len(table.press_codes), len(costs.kinds)))
    for (kind, press), _why in costs.lacking.items():
        if kind in costs.kinds:
            found[press, costs.kinds.index(kind)] = 1.0
    return found


def _crops(table: RunTable, ground: Ground | None) -> tuple[str, ...]:
    shares = () if ground is None else zip(table.crop_codes, ground.mix, strict=True)
    return tuple(code for code, share in shares if share > 0)


def _press_cost(
    table: RunTable, kinds: Sequence[CostKind], found: Compared, press: int, tonnes: float
) -> PressCost:
    def known(rates: Floats, which: Flags) -> tuple[tuple[CostKind, float], ...]:
        return tuple(
            (kind, float(rate))
            for kind, rate, kept in zip(kinds, rates[press], which, strict=True)
            if kept and np.isfinite(rate)
        )

    return PressCost(
        press=table.press_codes[press],
        press_name=table.press_names[press],
        tonnes=tonnes,
        pressed=known(found.pressed, found.kinds),
        common=None if found.common is None else known(found.common, found.kinds),
        apart=known(found.pressed, ~found.kinds & ~found.lacking[press]),
    )


def _left_out(table: RunTable, costs: RunCosts, found: Compared, ran: list[int]) -> tuple[LeftOut, ...]:
    outs = []
    for place, kind in enumerate(costs.kinds):
        if found.kinds[place]:
            continue
        without = [press for press in ran if found.lacking[press, place]]
        whys = [costs.lacking.get((kind, press), Lack.NOT_RECORDED) for press in without]
        for why in dict.fromkeys(whys):
            codes = [press for press, own in zip(without, whys, strict=True) if own is why]
            names = () if len(codes) == len(ran) else tuple(table.press_names[press] for press in codes)
            outs.append(LeftOut(kind, names, why))
    return tuple(outs)


def _sums(
    table: RunTable, costs: RunCosts, rows: Places, member: Places, groups: int
) -> tuple[Floats, Floats, Floats]:
    """Of each group: its tonnes, shape (groups, 1); the amount of each kind of cost, and the tonnes of the
    runs for which it is known, shape (groups, kinds)."""
    tonnes_of = np.where(table.purge[rows], 0.0, table.seed_kg[rows] / 1000)

    def total(weights: Floats) -> Floats:
        return np.bincount(member, weights=weights, minlength=groups).astype(np.float64)

    amounts, on_record = [], []
    whole = total(tonnes_of)
    for column in costs.costs.values():
        own = column[rows]
        unknown = np.isnan(own)
        amounts.append(total(np.nan_to_num(own)))
        on_record.append(total(np.where(unknown, 0.0, tonnes_of)) if unknown.any() else whole)
    return whole[:, None], np.stack(amounts, axis=1), np.stack(on_record, axis=1)


def money_of(
    table: RunTable, costs: RunCosts, rows: Places, member: Places, groups: int, basket: Basket
) -> list[Money]:
    """The money of each group of the runs at the indexes `rows`; `member` is the group number of each run."""
    whole, amount, on_record = _sums(table, costs, rows, member, groups)
    rates = rates_of(amount, on_record)
    in_basket = np.array([kind in basket.kinds for kind in costs.kinds], dtype=np.bool_)
    cost = np.where(whole[:, 0] > 0, rates[:, in_basket].sum(axis=1), np.nan)
    if not in_basket.any():
        cost = np.full(groups, np.nan)
    income = _income(table, costs, rows, member, groups)
    left, per_h = _left(table, costs, rows, member, groups, in_basket)
    within = np.zeros((groups, len(table.press_codes)))
    within[member, table.press[rows]] = 1.0
    lacked = within @ _lacking(table, costs) > 0
    known = (on_record >= ENOUGH * whole) & np.isfinite(rates) & ~lacked
    found = []
    for place in range(groups):
        found.append(
            Money(
                tonnes=float(whole[place, 0]),
                each=tuple(
                    (kind, float(rates[place, column]))
                    for column, kind in enumerate(costs.kinds)
                    if known[place, column]
                ),
                cost_per_t=_none_for_nan(cost[place]),
                income_per_t=_none_for_nan(income[0][place]),
                seed_per_t=_none_for_nan(income[1][place]),
                left_per_t=_none_for_nan(left[place]),
                left_per_h=_none_for_nan(per_h[place]),
                left_out=basket.left_out,
            )
        )
    return found


def _income(
    table: RunTable, costs: RunCosts, rows: Places, member: Places, groups: int
) -> tuple[Floats, Floats]:
    """Oil and cake per tonne of the runs whose oil (cake) has a price; seed per tonne, NaN where that of some
    run has none."""
    pressed = ~table.purge[rows]
    tonnes = table.seed_kg[rows] / 1000

    def rate(values: Floats, which: Flags) -> Floats:
        own = which & ~np.isnan(values)
        sums = [
            np.bincount(member[own], weights=of[own], minlength=groups).astype(np.float64)
            for of in (values, tonnes)
        ]
        return rates_of(*sums)

    income = rate(costs.oil[rows], pressed) + np.nan_to_num(rate(costs.cake[rows], pressed))
    unpriced = np.bincount(member[pressed & np.isnan(costs.seed[rows])], minlength=groups)
    return income, np.where(unpriced > 0, np.nan, rate(costs.seed[rows], pressed))


def _left(
    table: RunTable, costs: RunCosts, rows: Places, member: Places, groups: int, in_basket: Flags
) -> tuple[Floats, Floats]:
    """What is left per tonne and per hour. Cake and seed count where the mill has any price of them; then a
    run without one says nothing of what is left. NaN where such runs are most of the seed."""
    priced = rows if not costs.seed_priced else rows[~np.isnan(costs.seed[rows])]
    own = member if not costs.seed_priced else member[~np.isnan(costs.seed[rows])]
    whole, amount, on_record = _sums(table, costs, priced, own, groups)
    cost = rates_of(amount, on_record)[:, in_basket].sum(axis=1)
    gain = costs.oil[priced] + (costs.cake[priced] if costs.cake_priced else 0.0)
    gain = gain - (costs.seed[priced] if costs.seed_priced else 0.0)
    told = ~np.isnan(gain)
    timed = told & ~np.isnan(table.hours[priced])

    def total(weights: Floats, which: Flags) -> Floats:
        return np.bincount(own[which], weights=weights[which], minlength=groups).astype(np.float64)

    tonnes = table.seed_kg[priced] / 1000
    known_t = total(tonnes, told)
    left = np.where(known_t >= ENOUGH * whole[:, 0], rates_of(total(gain, told), known_t) - cost, np.nan)
    return left, left * rates_of(total(tonnes, timed), total(table.hours[priced], timed))


def _none_for_nan(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
