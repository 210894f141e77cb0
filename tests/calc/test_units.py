"""Conversions and what people read."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.calc import units
from wearlog.calc.units import UnitProblem


def amounts(places: int) -> st.SearchStrategy[Decimal]:
    """What a person may type: up to 9 digits before the point, `places` behind."""
    return st.decimals(min_value=0, max_value=999_999, places=places, allow_nan=False, allow_infinity=False)


@given(value=amounts(5), unit=st.sampled_from(["kg", "t", "lb", "short_ton", "cwt"]))
def test_a_mass_typed_in_any_unit_reads_back_as_typed(value: Decimal, unit: str) -> None:
    assert units.from_kg(units.to_kg(value, unit), unit) == value


@given(value=amounts(4), unit=st.sampled_from(["mm", "inch", "thou"]))
def test_a_length_typed_in_any_unit_reads_back_as_typed(value: Decimal, unit: str) -> None:
    assert units.from_mm(units.to_mm(value, unit), unit) == value


@given(value=st.decimals(min_value=-400, max_value=2000, places=4), unit=st.sampled_from(["c", "f"]))
def test_a_temperature_typed_in_any_unit_reads_back_as_typed(value: Decimal, unit: str) -> None:
    assert units.from_celsius(units.to_celsius(value, unit), unit) == value


@given(
    value=st.integers(min_value=0, max_value=100_000),
    bag_kg=st.decimals(min_value=1, max_value=1500, places=3),
)
def test_bags_of_a_stated_weight_read_back_as_typed(value: int, bag_kg: Decimal) -> None:
    assert units.from_kg(units.to_kg(value, "bag", bag_kg=bag_kg), "bag", bag_kg=bag_kg) == value


@given(value=amounts(5))
def test_what_is_stored_never_has_more_than_six_decimals(value: Decimal) -> None:
    for stored in (units.to_kg(value, "lb"), units.to_mm(value, "inch"), units.to_celsius(value, "f")):
        assert stored == stored.quantize(Decimal("0.000001"))


def test_a_thousand_pounds_typed_is_read_back_as_a_thousand_pounds() -> None:
    stored = units.to_kg(units.parse_number("1,000", decimal="."), "lb")
    assert stored == Decimal("453.592370")
    assert units.plain(units.from_kg(stored, "lb")) == "1000"
    assert units.show_mass(stored, "us") == "1,000 lb"


def test_bags_without_a_weight_are_refused_with_what_to_do() -> None:
    with pytest.raises(UnitProblem, match="State what one bag weighs"):
        units.to_kg(12, "bag")


def test_bushels_without_the_crops_weight_are_refused_with_what_to_do() -> None:
    with pytest.raises(UnitProblem, match="bushel of this crop"):
        units.to_kg(12, "bushel")


def test_more_seed_than_the_record_can_hold_is_refused_with_words() -> None:
    assert units.to_kg(999_999, "t") == 999_999_000
    with pytest.raises(UnitProblem, match="check the number and its unit"):
        units.to_kg(1_000_000, "t")


@pytest.mark.parametrize("call", [units.to_kg, units.from_kg])
def test_an_unknown_unit_of_mass_is_refused_by_name(call: object) -> None:
    with pytest.raises(UnitProblem, match="stone"):
        call(1, "stone")  # type: ignore[operator]


@pytest.mark.parametrize(
    ("kg", "system", "words"),
    [
        (None, "", "–"),
        (0, "metric", "0 kg"),
        (453.6, "metric", "453.6 kg"),
        (850, "metric", "850 kg"),
        (12_350, "metric", "12.35 t"),
        (-12.5, "metric", "−12.5 kg"),
        (Decimal("453.592370"), "us", "1,000 lb"),
        (Decimal("226.8"), "us", "500 lb"),
        (Decimal("5.5"), "us", "12.1 lb"),
        (Decimal("54431.0844"), "us", "60.0 short tons"),
    ],
)
def test_masses_are_shown_with_sensible_digits(kg: Decimal | float | None, system: str, words: str) -> None:
    assert units.show_mass(kg, system) == words


def test_lengths_are_shown_to_a_hundredth_of_a_millimetre_or_a_tenth_of_a_thou() -> None:
    assert units.show_length(Decimal("10.254")) == "10.25 mm"
    assert units.show_length(Decimal("25.4"), "us") == "1.0000 in"


def test_hours_are_decimal_and_the_clock_is_hours_and_minutes() -> None:
    assert units.show_hours(Decimal("7.5")) == "7.5 h"
    assert units.show_clock(Decimal("7.5")) == "7:30"
    assert units.show_clock(Decimal("7.3")) == "7:18"
    assert units.show_clock(Decimal("7.999999")) == "8:00"


def test_no_seed_is_not_a_rate_of_zero() -> None:
    assert units.hours_per_tonne(5.0, 0.0) is None
    assert units.show_per_tonne(None) == "–"


def test_rates_follow_the_readers_system() -> None:
    assert units.show_rate(18.9) == "18.9 kg/h"
    assert units.show_rate(18.9, "us") == "41.7 lb/h"  # 18.9 / 0.45359237 = 41.67
    assert units.show_per_tonne(66.139) == "66.1 h/t"
    assert units.show_per_tonne(66.139, "us") == "60.0 h/short ton"


@pytest.mark.parametrize(
    ("mm_per_t", "metric", "us"),
    [
        (0.0254, "0.025 mm/t", "0.91 thou/short ton"),  # 0.0254 mm is a thou; a short ton 0.90718474 t
        (0.000251, "0.00025 mm/t", "0.0090 thou/short ton"),  # a screw that loses a millimetre in 4,000 t
        (0.00000004, "0.000000 mm/t", "0.000001 thou/short ton"),
        (12.34, "12 mm/t", "441 thou/short ton"),
        (0.0, "0 mm/t", "0 thou/short ton"),
        (None, "–", "–"),
    ],
)
def test_a_rate_of_wear_has_two_figures_however_slowly_the_part_wears(
    mm_per_t: float | None, metric: str, us: str
) -> None:
    assert units.show_wear_rate(mm_per_t) == metric
    assert units.show_wear_rate(mm_per_t, "us") == us


def test_sunflower_has_no_bushel_weight_because_it_ranges() -> None:
    assert units.bushel_kg_of("sunflower") is None
    assert units.bushel_kg_of("Canola") == Decimal("22.679618")


@given(value=st.decimals(min_value=-10_000, max_value=10_000, places=6))
def test_a_plain_number_for_a_field_is_read_back_as_itself(value: Decimal) -> None:
    assert units.parse_number(units.plain(value), decimal=".", grouped=False) == value
