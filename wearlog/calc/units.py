"""Units: conversion between what people type and read and what is stored.

Stored values are metric with at most six decimals: kilograms, millimetres, degrees Celsius, decimal hours,
litres. The factors are exact by definition (NIST SP 811, appendix B.8; the gallon and bushel from NIST
Handbook 44, appendix C). Decimals go in and out, so that 1,000 lb typed is stored as 453.592370 kg and read
back as 1,000 lb.

`from_*` rounds to as many decimals as storage can preserve (`READ_BACK`): any value typed with no more
decimals than that comes back as it was typed. `show_*` rounds for reading and appends the unit; it returns
"–" for None. Nothing is guessed: bags need their weight, bushels their crop's weight, volumes of oil a
density, and a number that can be read in two ways is refused with an explanation (`NumberProblem`).
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final

from wearlog.calc.texts import WordedProblem, gettext_noop
from wearlog.calc.typed import STEP
from wearlog.calc.typed import NumberProblem as NumberProblem
from wearlog.calc.typed import parse_hours as parse_hours
from wearlog.calc.typed import parse_number as parse_number
from wearlog.calc.typed import without_unit as without_unit

MOST_KG: Final = Decimal(10) ** 9
"""Stored values have nine digits before the point."""
NOTHING: Final = "–"
NARROW_SPACE: Final = "\u202f"

# Exact: international yard and pound (1959); short ton 2,000 lb; US hundredweight 100 lb.
KG: Final[dict[str, Decimal]] = {
    "kg": Decimal(1),
    "g": Decimal("0.001"),
    "t": Decimal(1000),
    "lb": Decimal("0.45359237"),
    "short_ton": Decimal("907.18474"),
    "cwt": Decimal("45.359237"),
}
MM: Final[dict[str, Decimal]] = {"mm": Decimal(1), "inch": Decimal("25.4"), "thou": Decimal("0.0254")}
# Exact: US gallon 231 cubic inches, US bushel 2150.42 cubic inches; the imperial gallon is 4.54609 L.
LITRES: Final[dict[str, Decimal]] = {
    "l": Decimal(1),
    "us_gal": Decimal("3.785411784"),
    "imp_gal": Decimal("4.54609"),
    "us_bushel": Decimal("35.2390701668800"),
    "cubic_inch": Decimal("0.016387064"),
}
# Trade conventions, not physics: the weight that a bushel of the crop is bought and sold by, in pounds.
# Sunflower is left out because it ranges from 24 to 32 lb: its weight must be stated.
BUSHEL_LB: Final[dict[str, int]] = {
    "canola": 50,
    "rapeseed": 50,
    "soybean": 60,
    "flax": 56,
    "linseed": 56,
    "mustard": 60,
    "hemp": 44,
    "safflower": 38,
    "wheat": 60,
    "corn": 56,
    "barley": 48,
    "cottonseed": 32,
}
# How many decimals of a unit survive storage with six decimals in the stored unit; 6 for all others.
READ_BACK: Final[dict[str, int]] = {"g": 3, "lb": 5, "thou": 4, "f": 5, "us_gal": 5, "imp_gal": 5}

UNIT_WORDS: Final[dict[str, str]] = {
    "kg": "kg",
    "g": "g",
    "t": "t",
    "lb": "lb",
    "short_ton": gettext_noop("short tons"),
    "cwt": gettext_noop("cwt"),
    "bag": gettext_noop("bags"),
    "bushel": gettext_noop("bushels"),
    "mm": "mm",
    "inch": "in",
    "thou": "thou",
    "c": "°C",
    "f": "°F",
    "l": "L",
    "us_gal": "US gal",
    "imp_gal": "imp gal",
}


class UnitProblem(WordedProblem):
    """A unit that is unknown, or that needs a weight or a density which was not given."""


# -------- conversions


def _stored(value: Decimal) -> Decimal:
    return value.quantize(STEP, rounding=ROUND_HALF_EVEN)


def _read_back(value: Decimal, unit: str) -> Decimal:
    digits = READ_BACK.get(unit, 6)
    return value.quantize(Decimal(1).scaleb(-digits), rounding=ROUND_HALF_EVEN)


def _mass_factor(unit: str, bag_kg: Decimal | None, bushel_kg: Decimal | None) -> Decimal:
    if unit == "bag":
        if bag_kg is None or bag_kg <= 0:
            raise UnitProblem(gettext_noop("State what one bag weighs before entering bags."))
        return bag_kg
    if unit == "bushel":
        if bushel_kg is None or bushel_kg <= 0:
            raise UnitProblem(
                gettext_noop("State what a bushel of this crop weighs before entering bushels.")
            )
        return bushel_kg
    if unit not in KG:
        raise UnitProblem(
            gettext_noop("“%(unit)s” is not a unit of mass: use %(known)s, bag or bushel."),
            {"unit": unit, "known": ", ".join(KG)},
        )
    return KG[unit]


def to_kg(
    value: Decimal | int, unit: str, *, bag_kg: Decimal | None = None, bushel_kg: Decimal | None = None
) -> Decimal:
    """Kilograms with six decimals. `unit` is a key of `KG`, or `bag` (needs `bag_kg`) or `bushel` (needs
    `bushel_kg`). Raises UnitProblem."""
    kg = _stored(Decimal(value) * _mass_factor(unit, bag_kg, bushel_kg))
    if abs(kg) >= MOST_KG:
        raise UnitProblem(
            gettext_noop("This is more than the record can hold: check the number and its unit.")
        )
    return kg


def from_kg(
    kg: Decimal | int, unit: str, *, bag_kg: Decimal | None = None, bushel_kg: Decimal | None = None
) -> Decimal:
    """The mass in `unit`, rounded to as many decimals as storage preserves. Raises UnitProblem."""
    return _read_back(Decimal(kg) / _mass_factor(unit, bag_kg, bushel_kg), unit)


def bushel_kg_of(crop: str) -> Decimal | None:
    """The weight of a bushel of the crop by trade convention; None where there is no single figure."""
    pounds = BUSHEL_LB.get(crop.strip().lower())
    return None if pounds is None else _stored(pounds * KG["lb"])


def _not_a_length(unit: str) -> UnitProblem:
    return UnitProblem(
        gettext_noop("“%(unit)s” is not a unit of length: use %(known)s."),
        {"unit": unit, "known": ", ".join(MM)},
    )


def _not_a_temperature(unit: str) -> UnitProblem:
    return UnitProblem(gettext_noop("“%(unit)s” is not a unit of temperature: use c or f."), {"unit": unit})


def to_mm(value: Decimal | int, unit: str) -> Decimal:
    """Millimetres with six decimals; `unit` is `mm`, `inch` or `thou`. Raises UnitProblem for others."""
    if unit not in MM:
        raise _not_a_length(unit)
    return _stored(Decimal(value) * MM[unit])


def from_mm(mm: Decimal | int, unit: str) -> Decimal:
    if unit not in MM:
        raise _not_a_length(unit)
    return _read_back(Decimal(mm) / MM[unit], unit)


def to_celsius(value: Decimal | int, unit: str) -> Decimal:
    """Degrees Celsius with six decimals; `unit` is `c` or `f`. Raises UnitProblem for others."""
    if unit == "c":
        return _stored(Decimal(value))
    if unit == "f":
        return _stored((Decimal(value) - 32) * 5 / 9)
    raise _not_a_temperature(unit)


def from_celsius(celsius: Decimal | int, unit: str) -> Decimal:
    if unit == "c":
        return _read_back(Decimal(celsius), unit)
    if unit == "f":
        return _read_back(Decimal(celsius) * 9 / 5 + 32, unit)
    raise _not_a_temperature(unit)


# -------- shown to a person


class NumberFormat:
    """How numbers and the words of units are written: in English, unless a subclass says otherwise."""

    def signs(self, system: str) -> tuple[str, str]:
        """The thousands separator and the decimal sign."""
        return (",", ".") if is_us(system) else (NARROW_SPACE, ".")

    def word(self, english: str) -> str:
        return english


number_format = NumberFormat()
"""The number format in use. A floor above replaces it once by one that depends on the current reader."""


def set_number_format(other: NumberFormat) -> None:
    global number_format
    number_format = other


def unit_word(unit: str) -> str:
    """How the unit is written in a list of units to choose from: `kg`, `bags`."""
    return number_format.word(UNIT_WORDS[unit])


def per_word(system: str) -> str:
    """The unit of mass after a "per": `t`, `short ton`."""
    return number_format.word(gettext_noop("short ton")) if is_us(system) else "t"


def is_us(system: str) -> bool:
    """`us` is pounds, inches and °F; everything else (also "") is metric."""
    return system == "us"


def mass_unit(system: str) -> str:
    return "lb" if is_us(system) else "kg"


def length_unit(system: str) -> str:
    return "inch" if is_us(system) else "mm"


def temperature_unit(system: str) -> str:
    return "f" if is_us(system) else "c"


def plain(value: Decimal) -> str:
    """The shortest plain decimal, for a field's value: no exponent, no grouping, no trailing zeros."""
    text = f"{value:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def show_number(value: Decimal | float, digits: int, system: str = "") -> str:
    """`value` with `digits` decimals and thousands separators, in the number format in use; in English these
    are commas in the US system and narrow spaces in metric."""
    text = f"{value:,.{digits}f}"
    if re.fullmatch(r"-0(\.0+)?", text):
        text = text[1:]
    text = text.replace("-", "−")
    grouping, decimal = number_format.signs(system)
    return text.translate({ord(","): grouping, ord("."): decimal})


def _digits_for(value: Decimal | float, most: int) -> int:
    """The number of decimals that shows about three significant figures, but never more than `most`."""
    size = abs(float(value))
    return 0 if size >= 100 else min(most, 1) if size >= 10 else min(most, 2)


def show_mass(kg: Decimal | float | None, system: str = "") -> str:
    """`453.6 kg`, `12.35 t`; in the US system `1,000 lb`, from 20,000 lb on `60.0 short tons`."""
    if kg is None:
        return NOTHING
    if is_us(system):
        pounds = float(kg) / float(KG["lb"])
        if abs(pounds) >= 19999.5:
            tons = pounds / 2000
            shown = show_number(tons, 1 if abs(tons) < 1000 else 0, system)
            return f"{shown} {unit_word('short_ton')}"
        digits = 0 if abs(pounds) >= 1000 or round(pounds, 1).is_integer() else 1
        return f"{show_number(pounds, digits, system)} lb"
    size = abs(float(kg))
    if size >= 999.95:
        return f"{show_number(float(kg) / 1000, 2 if size < 99_995 else 1, system)} t"
    digits = 0 if round(size, 1).is_integer() else 1
    return f"{show_number(kg, digits, system)} kg"


def show_length(mm: Decimal | float | None, system: str = "") -> str:
    """`10.25 mm`; in the US system `0.4035 in` (a tenth of a thou, which is what a gauge resolves)."""
    if mm is None:
        return NOTHING
    if is_us(system):
        return f"{show_number(float(mm) / 25.4, 4, system)} in"
    return f"{show_number(mm, 2, system)} mm"


def show_temperature(celsius: Decimal | float | None, system: str = "") -> str:
    if celsius is None:
        return NOTHING
    if is_us(system):
        return f"{show_number(float(celsius) * 9 / 5 + 32, 0, system)} °F"
    return f"{show_number(celsius, 0, system)} °C"


def show_hours(hours: Decimal | float | None, system: str = "") -> str:
    """Decimal hours: `7.5 h`, `1 234 h` from a thousand on."""
    if hours is None:
        return NOTHING
    return f"{show_number(hours, 1 if abs(float(hours)) < 999.95 else 0, system)} h"


def show_clock(hours: Decimal | float | None) -> str:
    """Hours and minutes: `7:30`."""
    if hours is None:
        return NOTHING
    minutes = round(float(hours) * 60)
    return f"{'−' if minutes < 0 else ''}{abs(minutes) // 60}:{abs(minutes) % 60:02d}"


def hours_per_tonne(hours: float, kg: float) -> float | None:
    """Hours of pressing per tonne of seed; None where no seed was pressed (not a rate of 0)."""
    return hours / (kg / 1000) if kg > 0 else None


def show_per_tonne(per_tonne: Decimal | float | None, system: str = "", what: str = "h") -> str:
    """A quantity (in the unit `what`) per tonne, in the US system per short ton: `66.1 h/t`."""
    if per_tonne is None:
        return NOTHING
    value = float(per_tonne) * (float(KG["short_ton"]) / 1000 if is_us(system) else 1)
    digits = 1 if abs(value) >= 9.995 else 2
    return f"{show_number(value, digits, system)} {what}/{per_word(system)}"


def show_wear_rate(mm_per_t: Decimal | float | None, system: str = "") -> str:
    """Wear per tonne with two figures: `0.010 mm/t`, in the US system thousandths of an inch per short ton,
    `0.36 thou/short ton`. Up to six decimals, which the slow wear of a screw needs."""
    if mm_per_t is None:
        return NOTHING
    value, length = float(mm_per_t), "mm"
    if is_us(system):
        value, length = value / float(MM["thou"]) * float(KG["short_ton"]) / 1000, "thou"
    digits = next((count for count in range(6) if abs(value) * 10**count >= 9.95), 6) if value else 0
    return f"{show_number(value, digits, system)} {length}/{per_word(system)}"


def show_rate(kg_per_h: Decimal | float | None, system: str = "") -> str:
    """Throughput: `18.9 kg/h`, `41.7 lb/h`."""
    if kg_per_h is None:
        return NOTHING
    value = float(kg_per_h) / (float(KG["lb"]) if is_us(system) else 1)
    return f"{show_number(value, _digits_for(value, 1), system)} {mass_unit(system)}/h"
