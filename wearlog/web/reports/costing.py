"""The rows and sentences of what a tonne costs, in the reader's units."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.columns import SORT_WORDS, cost_words, out_words, per_ton, shown
from wearlog.compare.costs.kinds import CostKind, Sort
from wearlog.compare.costs.money import Money, PressCost
from wearlog.compare.costs.season import OfGroup, SeasonCosts
from wearlog.web.drawing.charts.side_by_side import SideBySide
from wearlog.web.drawing.charts.stacked import Stack, stacked
from wearlog.web.site.opened import Value, opened


@dataclass(frozen=True)
class Amounts:
    """Amounts in the reader's units and the mill's currency."""

    system: str
    currency: str

    def money(self, value: float | None, digits: int = 2) -> str:
        """`3.20 EUR`."""
        if value is None:
            return units.NOTHING
        return f"{units.show_number(value, digits, self.system)} {self.currency}".strip()

    def rate(self, per_tonne: float | None) -> str:
        """A number per ton, without its unit."""
        return shown(per_ton(per_tonne, units.is_us(self.system)), 2, self.system)

    def per_ton(self, per_tonne: float | None) -> str:
        """`47.10 EUR/t`."""
        return f"{self.rate(per_tonne)} {self.unit}"

    @property
    def unit(self) -> str:
        return f"{self.currency or '1'}/{units.per_word(self.system)}"


@dataclass(frozen=True)
class KindRow:
    """`cells`: a figure for each press, `addresses` what opens each, where something does. `apart`: it is not
    in the sum."""

    words: str
    cells: tuple[str, ...]
    apart: bool = False
    addresses: tuple[str, ...] = ()

    @property
    def opened(self) -> list[tuple[str, str]]:
        """Each figure with its address."""
        return list(zip(self.cells, self.addresses or ("",) * len(self.cells), strict=True))


def answer(found: SeasonCosts, reader: Amounts) -> str:
    """`Yard press costs most, 57.70 EUR/t; Twin least, 36.74 EUR/t, at linseed, which all ran.`"""
    presses = sorted(found.basket.presses, key=lambda one: one.total)
    if not presses or not found.basket.kinds:
        return _("What a tonne costs can't be compared: no kind of cost is on record for all presses.")
    values = {
        "dear": presses[-1].press_name,
        "most": reader.per_ton(presses[-1].total),
        "cheap": presses[0].press_name,
        "least": reader.per_ton(presses[0].total),
        "crops": get_text_list(list(found.basket.on), _("and")),
    }
    if len(presses) == 1:
        return _("A tonne costs %(most)s on %(dear)s.") % values
    if not found.basket.on:
        return _(
            "The presses share no crop, so that their costs can't be compared; each is given as pressed."
        )
    if presses[-1].is_toss_up(presses[0]):
        return (
            _(
                "A tonne costs about the same on all presses, %(least)s to %(most)s, at %(crops)s, which all "
                "ran: how fast parts wear is not known well enough to say where it costs most."
            )
            % values
        )
    said = (
        _("%(dear)s costs most, %(most)s; %(cheap)s least, %(least)s: at %(crops)s, which all ran.") % values
    )
    close = [one.press_name for one in presses[:-1] if one.is_toss_up(presses[-1])]
    if not close:
        return said
    near = {"dear": presses[-1].press_name, "close": get_text_list(close, _("and"))}
    return said + " " + _("Whether %(dear)s or %(close)s costs more is a toss-up.") % near


def left_out(found: SeasonCosts) -> list[str]:
    return [out_words(out) for out in found.basket.left_out]


def _rates(press: PressCost) -> tuple[tuple[CostKind, float], ...]:
    return press.pressed if press.common is None else press.common


def by_sort(press: PressCost) -> tuple[tuple[Sort, float], ...]:
    """The costs that are compared, parts together."""
    found: dict[Sort, float] = {}
    for kind, rate in _rates(press):
        found[kind.sort] = found.get(kind.sort, 0.0) + rate
    return tuple(found.items())


def picture(presses: Sequence[PressCost], found: SeasonCosts, reader: Amounts) -> SideBySide | None:
    """The stacks of these presses on the scale of all."""
    if not found.basket.kinds or not presses:
        return None
    us = units.is_us(reader.system)
    factor = per_ton(1.0, us) or 1.0
    stacks = [
        Stack(
            press.press_name,
            tuple((sort, rate * factor) for sort, rate in by_sort(press)),
            reader.per_ton(press.total),
        )
        for press in presses
    ]
    highest = max(
        sum(max(rate, 0.0) for _sort, rate in by_sort(press)) * factor for press in found.basket.presses
    )
    words = {sort: str(SORT_WORDS[sort]).lower() for sort in Sort}
    told = "; ".join(
        f"{stack.name}: {stack.total} ("
        + ", ".join(f"{words[sort]} {shown(rate, 2, reader.system)}" for sort, rate in stack.costs)
        + ")"
        for stack in stacks
    )
    label = _("What a tonne costs: %(presses)s.") % {"presses": told}
    return stacked(stacks, words, reader.system, highest=highest, label=label)


def kind_rows(presses: Sequence[PressCost], found: SeasonCosts, reader: Amounts) -> list[KindRow]:
    """A row for each kind that is compared, their sum, the same as pressed, then kinds known for some."""
    rows = [
        KindRow(cost_words(kind), tuple(reader.rate(dict(_rates(press)).get(kind)) for press in presses))
        for kind in found.basket.kinds
    ]
    rows.append(KindRow(_("Together"), tuple(reader.rate(press.total) for press in presses)))
    spans = [press.span for press in presses]
    if any(span is not None for span in spans):
        cells = (
            units.NOTHING
            if span is None
            else _("%(low)s to %(high)s") % {"low": reader.rate(span[0]), "high": reader.rate(span[1])}
            for span in spans
        )
        rows.append(KindRow(_("About, in eight of ten cases"), tuple(cells)))
    if found.basket.on:
        as_pressed = (sum(rate for _kind, rate in press.pressed) for press in presses)
        runs = (opened("runs", "cost_per_t", season=found.season, press=press.press) for press in presses)
        totals = tuple(reader.rate(total) for total in as_pressed)
        rows.append(KindRow(_("As pressed"), totals, addresses=tuple(runs)))
    apart = dict.fromkeys(kind for press in presses for kind, _rate in press.apart)
    rows += [
        KindRow(
            cost_words(kind), tuple(reader.rate(dict(press.apart).get(kind)) for press in presses), apart=True
        )
        for kind in apart
    ]
    return rows


def margin_cells(money: Money, reader: Amounts) -> tuple[str, ...]:
    """Seed in tons, then per ton oil and cake, seed, cost, and what is left, then what is left in all."""
    tons = money.tonnes / (per_ton(1.0, units.is_us(reader.system)) or 1.0)
    whole = None if money.left_per_t is None else money.left_per_t * money.tonnes
    return (
        shown(tons, 2, reader.system),
        *(
            reader.rate(rate)
            for rate in (money.income_per_t, money.seed_per_t, money.cost_per_t, money.left_per_t)
        ),
        shown(whole, 0, reader.system),
    )


MARGIN_TOTALS = ("seed", "income_per_t", "seed_per_t", "cost_per_t", "left_per_t", "left")
"""The totals of the table of runs that give the cells of `margin_cells`."""


def margin_heads(reader: Amounts) -> tuple[str, ...]:
    ton = _("short tons") if units.is_us(reader.system) else "t"
    names = (_("Oil and cake"), _("Seed bought"), _("Cost"), _("Left over"))
    return (
        _("Seed (%(unit)s)") % {"unit": ton},
        *(f"{name} ({reader.unit})" for name in names),
        _("Left over in all (%(currency)s)") % {"currency": reader.currency or "1"},
    )


def against_last(found: SeasonCosts, reader: Amounts) -> str:
    """`Up to 3 March a tonne left 412.10 EUR/t; by the same day of the last season 398.00 EUR/t.`"""
    this, last = found.this, found.last
    if this is None or last is None:
        return ""
    values = {
        "this": reader.per_ton(this.money.cost_per_t),
        "last": reader.per_ton(last.money.cost_per_t),
        "season": last.name,
    }
    said = _("A tonne costs %(this)s so far; by the same day of %(season)s it cost %(last)s.") % values
    if this.money.left_per_t is None or last.money.left_per_t is None:
        return said
    values = {"this": reader.per_ton(this.money.left_per_t), "last": reader.per_ton(last.money.left_per_t)}
    return said + " " + _("It leaves %(this)s; then it left %(last)s.") % values


NARROW = (0, 3, 4)
"""Which of the columns stand where there is room for few."""


def group_rows(
    groups: Sequence[OfGroup],
    reader: Amounts,
    *,
    narrow: bool = False,
    opens: Callable[[OfGroup], Mapping[str, Value]] | None = None,
) -> list[tuple[str, str, list[tuple[str, str, str]]]]:
    """(name, crop, (heading, cell, address) of each column) of lots or crops. opens: the filters of the runs
    of a group, whose table gives the figures; without it they lead nowhere."""
    heads = margin_heads(reader)
    kept = NARROW if narrow else range(len(heads))
    rows = []
    for one in groups:
        cells = margin_cells(one.money, reader)
        filters = {} if opens is None else dict(opens(one))
        addresses = [
            opened("runs", total, **filters) if filters and cell != units.NOTHING and total != "seed" else ""
            for total, cell in zip(MARGIN_TOTALS, cells, strict=True)
        ]
        rows.append(
            (one.name, one.crop, [(heads[column], cells[column], addresses[column]) for column in kept])
        )
    return rows
