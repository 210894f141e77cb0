"""What a comparison's lines show, in which unit: one list for the page, the downloads and the terminal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from wearlog.calc import units
from wearlog.compare.queries import Line, PressFigure

Value = str | int | float | None
POUNDS_PER_KG = 1 / float(units.KG["lb"])
SHORT_TON_T = float(units.KG["short_ton"]) / 1000


@dataclass(frozen=True)
class Column:
    """`key` for downloads, `words` for people, the value of a line, and its decimals (None: text)."""

    key: str
    words: str
    value: Callable[[Line], Value]
    digits: int | None = None


def _tons(kg: float | None, us: bool) -> float | None:
    return None if kg is None else kg / 1000 / (SHORT_TON_T if us else 1)


def _rate(kg: float | None, us: bool) -> float | None:
    return None if kg is None else kg * (POUNDS_PER_KG if us else 1)


def per_ton(per_tonne: float | None, us: bool) -> float | None:
    return None if per_tonne is None else per_tonne * (SHORT_TON_T if us else 1)


def columns(by: Sequence[str], system: str = "") -> list[Column]:
    """The columns of lines grouped by `by`, in the unit system's own units."""
    us = units.is_us(system)
    ton, tons = ("short_ton", "short tons") if us else ("t", "t")
    mass = "lb" if us else "kg"
    names = {
        "press": Column("press", "Press", lambda line: line.press_name),
        "crop": Column("crop", "Crop", lambda line: line.crop),
        "season": Column("season", "Season", lambda line: line.season),
    }
    return [names[group] for group in by] + [
        Column(
            f"hours_per_{'short_ton' if us else 'tonne'}",
            f"Hours per {'short ton' if us else 'tonne'}",
            lambda line: per_ton(line.hours_per_tonne, us),
            2,
        ),
        Column(f"{mass}_per_h", f"Throughput ({mass}/h)", lambda line: _rate(line.kg_per_h, us), 1),
        Column(f"seed_{ton}", f"Seed ({tons})", lambda line: _tons(line.seed_kg, us), 2),
        Column("hours_h", "Hours (h)", lambda line: line.hours_h, 1),
        Column("runs", "Runs", lambda line: line.runs, 0),
        Column(f"oil_{ton}", f"Oil ({tons})", lambda line: _tons(line.oil_kg, us), 2),
        Column("oil_pct", "Oil yield (%)", lambda line: line.oil_pct, 1),
        Column("purge_runs", "Purge runs", lambda line: line.purge_runs, 0),
        Column(f"purge_{mass}", f"Purge seed ({mass})", lambda line: _rate(line.purge_kg, us), 0),
        Column("runs_without_hours", "Runs without hours", lambda line: line.runs_without_hours, 0),
        Column(
            f"seed_without_hours_{mass}",
            f"Seed without hours ({mass})",
            lambda line: _rate(line.seed_without_hours_kg, us),
            0,
        ),
    ]


def relevant(by: Sequence[str], total: Line, system: str = "") -> list[Column]:
    """The columns without those of purge runs and of runs without hours where there are none: for reading."""
    absent = set()
    if not total.purge_runs:
        absent |= {"purge_runs", "purge_kg", "purge_lb"}
    if not total.runs_without_hours:
        absent |= {"runs_without_hours", "seed_without_hours_kg", "seed_without_hours_lb"}
    return [column for column in columns(by, system) if column.key not in absent]


def shown(value: Value, digits: int | None, system: str = "") -> str:
    """A value for reading: text as it is, a number rounded, a dash where there is none."""
    if value is None:
        return units.NOTHING
    if digits is None or isinstance(value, str):
        return str(value)
    return units.show_number(value, digits, system)


def figure_words(figure: PressFigure, system: str = "") -> tuple[str, str, str]:
    """Crude, standardised and range of a press, for reading; the range says in words why there is none."""
    us = units.is_us(system)
    crude, rate, low, high = (
        per_ton(value, us) for value in (figure.crude, figure.standardised, figure.low, figure.high)
    )
    span = f"{shown(low, 2, system)} to {shown(high, 2, system)}" if low is not None else figure.why
    return shown(crude, 2, system), shown(rate, 2, system), span
