"""Direct standardisation against published tables."""

from __future__ import annotations

import pytest

from wearlog.calc.mix import Standardised, standardise_counts, standardise_hours

# Fleiss 1981, p. 249; Fay & Feuer 1997, table 1: births by the mother's age, for birth orders 1 to 4, and all
# births as the standard. Crude, adjusted and gamma limits as printed in the tidyrates package's introduction.
STANDARD = [319933, 931318, 786511, 488235, 237863, 61313]
ORDERS = [
    (
        [107, 141, 60, 40, 39, 25],
        [230061, 329449, 114920, 39487, 14208, 3052],
        (0.000563, 0.000923, 0.000804, 0.00106),
    ),
    (
        [25, 150, 110, 84, 82, 39],
        [72202, 326701, 208667, 83228, 28466, 5375],
        (0.000676, 0.000912, 0.000824, 0.00101),
    ),
    (
        [3, 71, 114, 103, 108, 75],
        [15050, 175702, 207081, 117300, 45026, 8660],
        (0.000833, 0.000851, 0.000772, 0.000942),
    ),
    (
        [1, 26, 64, 89, 137, 96],
        [2293, 68800, 132424, 98301, 46075, 9834],
        (0.00115, 0.000927, 0.0008, 0.00115),
    ),
]


@pytest.mark.parametrize(("count", "exposure", "printed"), ORDERS)
def test_fleiss_table_with_the_gamma_interval(
    count: list[int], exposure: list[int], printed: tuple[float, float, float, float]
) -> None:
    found = standardise_counts(count, exposure, STANDARD)
    assert isinstance(found, Standardised)
    crude, adjusted, lower, upper = printed
    assert found.crude == pytest.approx(crude, abs=5e-6)
    assert found.rate == pytest.approx(adjusted, abs=5e-7)
    assert found.low == pytest.approx(lower, abs=5e-7)
    assert found.high == pytest.approx(upper, abs=5e-6)


def test_gamma_limits_to_all_digits() -> None:
    # Computed from the same data with scipy 1.17.1, first birth order.
    found = standardise_counts(*ORDERS[0][:2], STANDARD)
    assert isinstance(found, Standardised)
    assert found.rate == pytest.approx(0.000923045255332, rel=1e-11)
    assert found.variance == pytest.approx(3.91898272416e-09, rel=1e-11)
    assert found.low == pytest.approx(0.000804417498507, rel=1e-9)
    assert found.high == pytest.approx(0.00105763345749, rel=1e-9)


# Selvin 2004: cancer deaths of 1940 by age, and the population of 1960.
DEATHS = [45, 201, 320, 670, 1126, 3160, 9723, 17935, 22179, 13461, 2238]
PEOPLE = [906897, 3794573, 10003544, 10629526, 9465330, 8249558, 7294330, 5022499, 2920220, 1019504, 142532]
PEOPLE_1960 = [
    1784033,
    7065148,
    15658730,
    10482916,
    9939972,
    10563872,
    9114202,
    6850263,
    4702482,
    1874619,
    330915,
]


def test_selvin_crude_as_printed_and_adjusted_as_computed() -> None:
    found = standardise_counts(DEATHS, PEOPLE, PEOPLE_1960)
    assert isinstance(found, Standardised)
    assert found.crude == pytest.approx(0.0012, abs=5e-6)  # printed
    assert found.rate == pytest.approx(0.00139250544022, abs=1e-12)  # computed
    assert found.low == pytest.approx(0.00138214125804, rel=1e-9)  # computed with scipy 1.17.1
    assert found.high == pytest.approx(0.00140293758987, rel=1e-9)  # computed with scipy 1.17.1


def test_hours_use_the_same_point_formula() -> None:
    # The point formula is the same for hours as for counts; Fleiss's first row, adjusted as printed.
    found = standardise_hours(*ORDERS[0][:2], STANDARD)
    assert isinstance(found, Standardised)
    assert found.rate == pytest.approx(0.000923, abs=5e-7)
