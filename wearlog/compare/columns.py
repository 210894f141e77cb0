"""The columns of a comparison and their units: one list for the page, the downloads and the terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.calc import units
from wearlog.compare.costs.kinds import CostKind, Lack, LeftOut, Sort
from wearlog.compare.costs.money import Money
from wearlog.compare.grounds import PairFigure, PressFigure, against_words, ground_words
from wearlog.compare.queries import Line
from wearlog.words.kinds import kind_words

Value = str | int | float | None
POUNDS_PER_KG = 1 / float(units.KG["lb"])
SHORT_TON_T = float(units.KG["short_ton"]) / 1000


@dataclass(frozen=True)
class Column:
    """`key` is the name in downloads, `words` the heading for people, `value` takes a line, `digits` is the
    number of decimals (None: text)."""

    key: str
    words: str
    value: Callable[[Line], Value]
    digits: int | None = None


def _tons(kg: float | None, us: bool) -> float | None:
    return None if kg is None else kg / 1000 / (SHORT_TON_T if us else 1)


def _mass(kg: float | None, us: bool) -> float | None:
    return None if kg is None else kg * (POUNDS_PER_KG if us else 1)


def per_ton(per_tonne: float | None, us: bool) -> float | None:
    return None if per_tonne is None else per_tonne * (SHORT_TON_T if us else 1)


SORT_WORDS = {
    Sort.PARTS: gettext_lazy("Parts"),
    Sort.WORK: gettext_lazy("Work"),
    Sort.MINDING: gettext_lazy("Minding"),
    Sort.ENERGY: gettext_lazy("Energy"),
    Sort.LOST_OIL: gettext_lazy("Lost oil"),
    Sort.STAND_STILL: gettext_lazy("Stand-still"),
}
WHICH_COST = gettext_lazy(
    "The cost of a tonne adds up the kinds of cost that all presses have on record in the seasons shown: one "
    "in “What a tonne costs”, two in the report of a season. Presses are held against each other at the "
    "crops that all ran; all else is as pressed."
)
"""Said wherever a season's cost per tonne stands, since it differs between these two pages."""
LACK_WORDS = {
    Lack.NO_PRICE: gettext_lazy("no price"),
    Lack.NO_LIFE: gettext_lazy("no expected life"),
    Lack.NO_PLACE: gettext_lazy("no place on record"),
    Lack.NOT_RECORDED: gettext_lazy("not on record"),
}


def cost_words(kind: CostKind) -> str:
    """`Energy`; a kind of part by its own name."""
    return kind_words(kind.part_kind) if kind.part_kind else str(SORT_WORDS[kind.sort])


def out_words(out: LeftOut) -> str:
    """`Energy (P2, P3: not on record)`; without presses where it is so for all."""
    why = ": ".join(filter(None, (", ".join(out.presses), str(LACK_WORDS[out.why]))))
    return _("%(kind)s (%(why)s)") % {"kind": cost_words(out.kind), "why": why}


def all_out_words(left_out: Iterable[LeftOut]) -> str:
    """`no expected life: head, gearbox; not on record: Energy (P2, P3)`; each reason once."""
    by_reason: dict[str, list[str]] = {}
    for out in left_out:
        presses = f" ({', '.join(out.presses)})" if out.presses else ""
        by_reason.setdefault(str(LACK_WORDS[out.why]), []).append(cost_words(out.kind) + presses)
    return "; ".join(f"{why}: {', '.join(named)}" for why, named in by_reason.items())


def left_out_words(money: Money | None) -> str:
    """What is not included in a line's cost, in words; empty where nothing is missing."""
    return all_out_words(money.left_out) if money is not None else ""


def money_columns(currency: str, system: str = "") -> list[Column]:
    """The columns of costs and income per tonne and hour; for lines that have `money`."""
    us = units.is_us(system)
    per = "short_ton" if us else "t"

    def column(name: str, words: str, pick: Callable[[Money], float | None]) -> Column:
        def value(line: Line) -> Value:
            return None if line.money is None else per_ton(pick(line.money), us)

        return Column(f"{name}_per_{per}", money_words(words, currency, per_hour=False, us=us), value, 2)

    def sort_column(sort: Sort) -> Column:
        return column(sort, str(SORT_WORDS[sort]), lambda money: money.per_t(sort))

    return [
        *(sort_column(sort) for sort in Sort),
        column("cost", _("Cost"), lambda money: money.cost_per_t),
        column("seed_price", _("Seed"), lambda money: money.seed_per_t),
        column("income", _("Oil and cake"), lambda money: money.income_per_t),
        column("left", _("Left over"), lambda money: money.left_per_t),
        Column(
            "left_per_h",
            money_words(_("Left over"), currency, per_hour=True, us=us),
            lambda line: None if line.money is None else line.money.left_per_h,
            2,
        ),
        Column("left_out", _("Not counted"), lambda line: left_out_words(line.money)),
    ]


def money_words(what: str, currency: str, *, per_hour: bool, us: bool) -> str:
    """`Parts (EUR/t)`; without a currency `Parts (1/t)`."""
    unit = "h" if per_hour else _("short ton") if us else "t"
    return f"{what} ({currency}/{unit})" if currency else f"{what} (1/{unit})"


def columns(by: Sequence[str], system: str = "", *, money: bool = False, currency: str = "") -> list[Column]:
    """The columns of lines grouped by `by`, in units of the system; with `money`, costs come last."""
    us = units.is_us(system)
    ton, mass = ("short_ton", "lb") if us else ("t", "kg")
    names = {
        "press": Column("press", _("Press"), lambda line: line.press_name),
        "crop": Column("crop", _("Crop"), lambda line: line.crop),
        "season": Column("season", _("Season"), lambda line: line.season),
    }
    tons, pounds = (_("short tons"), "lb") if us else ("t", "kg")
    return [names[group] for group in by] + [
        Column(
            f"hours_per_{'short_ton' if us else 'tonne'}",
            headline(system),
            lambda line: per_ton(line.hours_per_tonne, us),
            2,
        ),
        Column(
            f"{mass}_per_h",
            _("Throughput (%(unit)s/h)") % {"unit": pounds},
            lambda line: _mass(line.kg_per_h, us),
            1,
        ),
        Column(f"seed_{ton}", _("Seed (%(unit)s)") % {"unit": tons}, lambda line: _tons(line.seed_kg, us), 2),
        Column("hours_h", _("Hours (h)"), lambda line: line.hours_h, 1),
        Column("runs", _("Runs"), lambda line: line.runs, 0),
        Column(f"oil_{ton}", _("Oil (%(unit)s)") % {"unit": tons}, lambda line: _tons(line.oil_kg, us), 2),
        Column("oil_pct", _("Oil yield (%)"), lambda line: line.oil_pct, 1),
        Column("purge_runs", _("Purge runs"), lambda line: line.purge_runs, 0),
        Column(
            f"purge_{mass}",
            _("Purge seed (%(unit)s)") % {"unit": pounds},
            lambda line: _mass(line.purge_kg, us),
            0,
        ),
        Column("runs_worked_out", _("Runs worked out"), lambda line: line.runs_worked_out, 0),
        Column(
            f"seed_worked_out_{mass}",
            _("Seed worked out (%(unit)s)") % {"unit": pounds},
            lambda line: _mass(line.seed_worked_out_kg, us),
            0,
        ),
        Column("runs_without_hours", _("Runs without hours"), lambda line: line.runs_without_hours, 0),
        Column(
            f"seed_without_hours_{mass}",
            _("Seed without hours (%(unit)s)") % {"unit": pounds},
            lambda line: _mass(line.seed_without_hours_kg, us),
            0,
        ),
        *(money_columns(currency, system) if money else ()),
    ]


def headline(system: str = "") -> str:
    """The name of the rate that is compared, in the reader's units."""
    return _("Hours per short ton") if units.is_us(system) else _("Hours per tonne")


def relevant(by: Sequence[str], total: Line, system: str = "", *, currency: str = "") -> list[Column]:
    """The columns to show: those of purge runs, of runs without hours and of runs worked out are left out if
    there are none in the total."""
    absent = set()
    if not total.purge_runs:
        absent |= {"purge_runs", "purge_kg", "purge_lb"}
    if not total.runs_without_hours:
        absent |= {"runs_without_hours", "seed_without_hours_kg", "seed_without_hours_lb"}
    if not total.runs_worked_out:
        absent |= {"runs_worked_out", "seed_worked_out_kg", "seed_worked_out_lb"}
    money = total.money is not None
    shown_columns = columns(by, system, money=money, currency=currency)
    return [column for column in shown_columns if column.key not in absent]


def shown(value: Value, digits: int | None, system: str = "") -> str:
    """A value as text for reading: text unchanged, a number rounded, a dash for None."""
    if value is None:
        return units.NOTHING
    if digits is None or isinstance(value, str):
        return str(value)
    return units.show_number(value, digits, system)


def figure_words(figure: PressFigure, system: str = "") -> tuple[str, str, str]:
    """Crude rate, standardised rate and range of a press as text; without a range, why there is none. Where
    it is compared with one other press alone, the range says with which, and on what."""
    us = units.is_us(system)
    crude, rate, low, high = (
        per_ton(value, us) for value in (figure.crude, figure.standardised, figure.low, figure.high)
    )
    span = figure.why
    if low is not None and high is not None:
        span = _("%(low)s to %(high)s") % {"low": shown(low, 2, system), "high": shown(high, 2, system)}
    if figure.against:
        span = _("%(range)s (%(ground)s)") % {"range": span, "ground": against_words(figure)}
    return shown(crude, 2, system), shown(rate, 2, system), span


def pair_words(pair: PairFigure, system: str = "") -> tuple[str, str, str, str]:
    """The names of two presses, the rate of each on the crops that both ran, and which these are."""
    us = units.is_us(system)
    rates = [shown(per_ton(rate, us), 2, system) for rate in (pair.standardised, pair.other_standardised)]
    names = _("%(press)s and %(other)s") % {"press": pair.press_name, "other": pair.other_name}
    return names, rates[0], rates[1], ground_words(pair.mix, pair.left_out, system)
