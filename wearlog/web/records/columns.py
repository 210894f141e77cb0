"""A column of a table of records: one description for the page and for both files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Generic, TypeVar

from wearlog.calc import units
from wearlog.people.dates import written

Row = TypeVar("Row")
Cell = str | int | float | Decimal | datetime | None
POUNDS_PER_KG = 1 / float(units.KG["lb"])


@dataclass(frozen=True)
class Column(Generic[Row]):
    """`key` is the heading in files, with the unit, and `words` that on the page. `digits` are the decimals
    of a number, None for texts and times. `sort` is the name by which the table is sorted, empty for none.
    `width` is in characters. `record`: the cell opens the record of its row."""

    key: str
    words: str
    value: Callable[[Row], Cell]
    digits: int | None = None
    sort: str = ""
    width: int = 12
    money: str = ""
    """The mill's currency, where the number is an amount."""
    record: bool = False
    address: Callable[[Row], str] | None = None
    """Where else the cell leads."""

    def shown(self, row: Row, system: str) -> str:
        """The cell as text for reading; empty where nothing is recorded."""
        value = self.value(row)
        if value is None:
            return ""
        if isinstance(value, datetime):
            return written(value, "j M Y, H:i")
        if isinstance(value, str) or self.digits is None:
            return str(value)
        return units.show_number(value, self.digits, system)


def mass_of(kg: float | Decimal | None, system: str) -> float | None:
    """Kilograms in the unit of the reader's columns of mass."""
    return None if kg is None else float(kg) * (POUNDS_PER_KG if units.is_us(system) else 1)


def length_of(mm: Decimal | None, system: str) -> float | None:
    return None if mm is None else float(mm) / (25.4 if units.is_us(system) else 1)


def per_ton(per_tonne: float | None, system: str) -> float | None:
    return (
        None
        if per_tonne is None
        else per_tonne * (float(units.KG["short_ton"]) / 1000 if units.is_us(system) else 1)
    )
