"""Factors and bushel weights against published figures."""

from __future__ import annotations

from decimal import Decimal

import pytest

from wearlog.calc import units


@pytest.mark.parametrize(
    ("convert", "unit", "value"),
    [
        # Exact by the international yard and pound agreement of 1959; NIST SP 811 appendix B.8 (from memory).
        (units.to_kg, "lb", "0.453592"),
        (units.to_mm, "inch", "25.4"),
        # 2,000 lb; US Bureau of Mines IC 9298 prints 0.9072 t.
        (units.to_kg, "short_ton", "907.18474"),
    ],
)
def test_one_of_each_unit_is_its_definition(convert: object, unit: str, value: str) -> None:
    assert convert(1, unit) == Decimal(value)  # type: ignore[operator]


def test_a_million_pounds_shows_all_digits_of_the_definition() -> None:
    # 0.45359237 kg exactly (1959 agreement, from memory).
    assert units.to_kg(1_000_000, "lb") == Decimal("453592.37")


def test_a_short_hundredweight_is_a_hundred_pounds() -> None:
    # NIST Handbook 44 appendix C (from memory).
    assert units.from_kg(units.to_kg(20, "cwt"), "short_ton") == 1
    assert units.to_kg(1, "cwt") == Decimal("45.359237")


def test_gallons_and_bushels_of_volume_follow_their_cubic_inches() -> None:
    # NIST Handbook 44 appendix C: gallon 231 cubic inches, bushel 2150.42 cubic inches, both exact;
    # 3.785411784 L and 35.2390701669 L. A cubic inch is 0.016387064 L (from memory).
    assert units.LITRES["us_gal"] == Decimal("3.785411784")
    assert units.LITRES["cubic_inch"] * 231 == Decimal("3.785411784")
    assert float(units.LITRES["us_bushel"]) == pytest.approx(35.2390701669, rel=1e-11)
    assert float(units.LITRES["cubic_inch"] * Decimal("2150.42")) == pytest.approx(35.2390701669, rel=1e-11)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    # The definition: water freezes at 32 °F and 0 °C, boils at 212 °F and 100 °C; the scales meet at -40.
    [(32, "0"), (212, "100"), (-40, "-40")],
)
def test_fixed_points_of_the_temperature_scales(fahrenheit: int, celsius: str) -> None:
    assert units.to_celsius(fahrenheit, "f") == Decimal(celsius)
    assert units.from_celsius(Decimal(celsius), "f") == fahrenheit


@pytest.mark.parametrize(
    ("crop", "bushels_per_tonne"),
    # Barley and corn: U.S. Grains Council, conversion table. The others: tables of bushels per tonne that
    # grain exchanges and USDA FSA give out, as quoted by grain dealers; printed to 4 decimals
    # and computed with a rounded pound, so to 0.0006.
    [
        ("soybean", 36.7437),
        ("wheat", 36.7437),
        ("flax", 39.368),
        ("canola", 44.092),
        ("corn", 39.368),
        ("barley", 45.9296),
    ],
)
def test_bushels_per_tonne_agree_with_the_trade_tables(crop: str, bushels_per_tonne: float) -> None:
    weight = units.bushel_kg_of(crop)
    assert weight is not None
    assert float(units.from_kg(1000, "bushel", bushel_kg=weight)) == pytest.approx(
        bushels_per_tonne, abs=0.0006
    )


@pytest.mark.parametrize(("crop", "tonnes"), [("barley", 0.021772), ("corn", 0.0254)])
def test_tonnes_per_bushel_agree_with_the_trade_table(crop: str, tonnes: float) -> None:
    # U.S. Grains Council, the same table.
    weight = units.bushel_kg_of(crop)
    assert weight is not None
    assert float(units.to_kg(1, "bushel", bushel_kg=weight)) / 1000 == pytest.approx(tonnes, abs=2e-6)
