"""Straight lines and inverse prediction against published and certified figures.

Intervals that no source prints were computed once with numpy 2.4.6 and scipy 1.17.1 from the same formula;
those comments say "computed".
"""

from __future__ import annotations

import pytest

from wearlog.calc.lines import (
    CannotTell,
    Crossing,
    Line,
    Reason,
    exposure_at,
    exposure_at_limit,
    least_squares,
    through_origin,
)


def line_of(x: list[float], y: list[float]) -> Line:
    line = least_squares(x, y)
    assert isinstance(line, Line)
    return line


def crossing(found: Crossing | CannotTell) -> Crossing:
    assert isinstance(found, Crossing)
    return found


# NIST/SEMATECH e-Handbook 2.3.6, line width calibration (data file CALIBRATIONLINE.DAT of Dataplot); the same
# data stand in ISO 22514-7:2012 A.1 after ISO 11095.
WIDTH_REFERENCE = [
    6.19,
    9.17,
    1.99,
    7.77,
    4.0,
    10.77,
    4.78,
    2.99,
    6.98,
    9.98,
]
WIDTH_MEASURED = [
    6.31,
    9.27,
    2.21,
    8.0,
    4.27,
    10.93,
    4.95,
    3.24,
    7.14,
    10.23,
    6.27,
    9.21,
    2.19,
    7.81,
    4.15,
    10.73,
    4.87,
    3.17,
    7.07,
    10.02,
    6.31,
    9.34,
    2.22,
    7.95,
    4.15,
    10.92,
    5.0,
    3.21,
    7.18,
    10.07,
    6.28,
    9.23,
    2.2,
    7.84,
    4.15,
    10.89,
    5.0,
    3.21,
    7.2,
    10.17,
]
WIDTH_X = WIDTH_REFERENCE * 4


def test_line_width_calibration_line() -> None:
    line = line_of(WIDTH_X, WIDTH_MEASURED)
    # The handbook prints 0.2357 (cut), ISO 22514-7 prints 0.2358.
    assert line.intercept == pytest.approx(0.2357, abs=1e-4)
    assert line.slope == pytest.approx(0.9870, abs=5e-5)
    assert line.residual_sd == pytest.approx(0.06203, abs=5e-6)
    assert line.dof == 38
    assert line.residual_sd**2 * line.dof == pytest.approx(0.1462, abs=5e-5)
    assert line.centre == pytest.approx(6.462, abs=5e-4)
    assert line.at(line.centre) == pytest.approx(6.614, abs=5e-4)


@pytest.mark.parametrize(
    ("value", "new_readings", "expected"),
    [
        (5.0, 1, (4.82680412385, 4.69739685026, 4.95604854006)),
        (5.0, None, (4.82680412385, 4.80353127852, 4.84991411179)),
        (11.5, 1, (11.412165459, 11.2789491549, 11.545874775)),
        (11.5, None, (11.412165459, 11.3721008088, 11.4527231212)),
    ],
)
def test_line_width_inverse_prediction(
    value: float, new_readings: int | None, expected: tuple[float, float, float]
) -> None:
    # Computed. 11.5 lies beyond the largest reference, as a wear limit does.
    found = crossing(
        exposure_at(line_of(WIDTH_X, WIDTH_MEASURED), value, level=0.95, new_readings=new_readings)
    )
    assert (found.exposure, found.low, found.high) == pytest.approx(expected, rel=1e-9)
    assert found.g == pytest.approx(4.97950376183e-05, rel=1e-9)


# Massart et al., Handbook of Chemometrics and Qualimetrics, part A (1997), chapter 8, example 7; seven digits
# from the test suite of the R package chemCal, which quotes the book.
SIX_X = [0.0, 10, 20, 30, 40, 50]
SIX_Y = [4.0, 21.2, 44.6, 61.8, 78, 105.2]


@pytest.mark.parametrize(
    ("value", "new_readings", "exposure", "half"),
    [(15, 1, 6.1, 4.9), (90, 1, 43.9, 4.9), (90, 5, 43.9, 3.2)],
)
def test_six_points_as_the_book_prints_them(
    value: float, new_readings: int, exposure: float, half: float
) -> None:
    found = crossing(exposure_at(line_of(SIX_X, SIX_Y), value, level=0.95, new_readings=new_readings))
    assert found.exposure == pytest.approx(exposure, abs=0.05)
    # The book's interval is the symmetric one; Student's 97.5 % point for 4 degrees of freedom is 2.776445.
    assert found.wald_se * 2.776445 == pytest.approx(half, abs=0.05)


@pytest.mark.parametrize(
    ("value", "new_readings", "wald_se"), [(15, 1, 1.767278), (90, 1, 1.767747), (90, 5, 1.141204)]
)
def test_six_points_to_seven_digits(value: float, new_readings: int, wald_se: float) -> None:
    found = crossing(exposure_at(line_of(SIX_X, SIX_Y), value, level=0.95, new_readings=new_readings))
    assert found.wald_se == pytest.approx(wald_se, abs=5e-7)


def test_six_points_by_fieller_are_not_symmetric() -> None:
    # Computed.
    found = crossing(exposure_at(line_of(SIX_X, SIX_Y), 15, level=0.95, new_readings=1))
    assert (found.low, found.high) == pytest.approx((0.966872479438, 10.8374358738), rel=1e-9)
    found = crossing(exposure_at(line_of(SIX_X, SIX_Y), 90, level=0.95, new_readings=1))
    assert (found.low, found.high) == pytest.approx((39.1952254123, 49.0684300986), rel=1e-9)


# Graybill and Iyer, Regression Analysis (1994), chapter 6, p. 431: thermostat. Values read in the test suite
# of the R package investr, which quotes the book.
THERMOSTAT_X = [96.0, 98, 100, 102, 104, 106, 108, 110]
THERMOSTAT_Y = [95.71, 98.16, 99.52, 102.09, 103.79, 106.18, 108.14, 110.21]


def test_thermostat_inverse_prediction_at_95_percent() -> None:
    found = crossing(exposure_at(line_of(THERMOSTAT_X, THERMOSTAT_Y), 104, level=0.95, new_readings=1))
    assert found.exposure == pytest.approx(103.995, abs=5e-4)
    assert (found.low, found.high) == pytest.approx((103.4, 104.6), abs=0.05)


def test_thermostat_inverse_prediction_at_90_percent() -> None:
    found = crossing(exposure_at(line_of(THERMOSTAT_X, THERMOSTAT_Y), 100, level=0.9, new_readings=1))
    assert found.exposure == pytest.approx(100.1, abs=0.05)
    assert (found.low, found.high) == pytest.approx((99.63, 100.59), abs=0.005)


def test_certified_line_through_the_origin() -> None:
    # NIST Statistical Reference Datasets, linear regression, NoInt1: certified values.
    line = through_origin(list(range(60, 71)), list(range(130, 141)))
    assert isinstance(line, Line)
    assert line.slope == pytest.approx(2.07438016529, rel=1e-9)
    assert line.slope_se == pytest.approx(0.0165289256198, rel=1e-9)
    assert line.residual_sd == pytest.approx(3.56753034006, rel=1e-9)
    assert line.dof == 10


# Natrella, Experimental Statistics, NBS Handbook 91 (1963), chapter 5: tread wear of tires by weight and by
# groove depth (data file NATR533.DAT of Dataplot). The printed line is from memory and agrees.
TREAD_WEIGHT = [459.0, 419, 375, 334, 310, 305, 309, 319, 304, 273, 204, 245, 209, 189, 137, 114]
TREAD_GROOVE = [357.0, 392, 311, 281, 240, 287, 259, 233, 231, 237, 209, 161, 199, 152, 115, 112]


def test_tread_wear_line() -> None:
    line = line_of(TREAD_WEIGHT, TREAD_GROOVE)
    assert line.intercept == pytest.approx(13.506, abs=5e-4)
    assert line.slope == pytest.approx(0.790212, abs=5e-7)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (150, (172.730981697, 90.6909843563, 246.366531867)),
        (300, (362.553397342, 289.216372333, 442.144894664)),
    ],
)
def test_tread_wear_inverse_prediction(value: float, expected: tuple[float, float, float]) -> None:
    # Computed.
    found = crossing(exposure_at(line_of(TREAD_WEIGHT, TREAD_GROOVE), value, level=0.95, new_readings=1))
    assert (found.exposure, found.low, found.high) == pytest.approx(expected, rel=1e-9)
    assert found.g == pytest.approx(0.0371767183448, rel=1e-9)


def test_an_edge_already_past_its_limit_is_said_to_be_so() -> None:
    # Made up for this case (no source): a shrinking dimension whose last reading is past the limit of 77.0.
    found = crossing(exposure_at_limit([0, 100, 200, 300], [80, 79, 78.1, 76.9], limit=77.0, level=0.95))
    assert found.passed
    assert found.exposure == pytest.approx(297.058823529, rel=1e-9)
    assert found.g == pytest.approx(0.0320291012332, rel=1e-9)


def test_an_edge_that_does_not_wear_never_reaches_its_limit() -> None:
    # Made up: the readings rise while the limit lies below; the algebra would give a negative exposure.
    found = exposure_at_limit([0, 100, 200], [80.0, 80.1, 80.2], limit=77.0)
    assert found == CannotTell(Reason.NOT_WEARING)


def test_a_slope_that_may_be_none_gives_no_interval_where_a_wald_interval_would_print_one() -> None:
    # Made up: wear of the size of the scatter, g > 1.
    found = exposure_at_limit([0, 1, 2], [5.00, 5.06, 5.04], limit=5.4, level=0.95)
    assert found == CannotTell(Reason.NOT_BOUNDED)


def test_a_known_gauge_error_bounds_what_three_readings_can_not() -> None:
    readings = ([0.0, 10.0, 20.0], [5.00, 5.12, 5.18])
    assert exposure_at_limit(*readings, limit=5.4, level=0.95) == CannotTell(Reason.NOT_BOUNDED)
    # By hand: b = 0.009, Sxx = 200, mean 10 and 5.1, so x0 = 43.333; z = 1.959964, g = (z 0.02/b)^2/200
    # = 0.094850; half = z 0.02/b sqrt((1 - g)/3 + 33.333^2/200) = 10.5410.
    found = crossing(exposure_at_limit(*readings, limit=5.4, level=0.95, gauge_sd=0.02))
    assert found.exposure == pytest.approx(43.3333, abs=1e-4)
    assert found.g == pytest.approx(0.094850, abs=1e-6)
    assert (found.low, found.high) == pytest.approx(
        (10 + (33.3333 - 10.5410) / 0.905150, 10 + (33.3333 + 10.5410) / 0.905150), abs=1e-3
    )


@pytest.mark.parametrize(
    ("x", "y", "reason"),
    [
        ([], [], Reason.TOO_FEW),
        ([1.0, 2.0], [5.0, 5.1], Reason.TOO_FEW),
        ([3.0, 3.0, 3.0], [5.0, 5.1, 5.2], Reason.ONE_EXPOSURE),
        ([1.0, float("nan"), 3.0], [5.0, 5.1, 5.2], Reason.TOO_FEW),
    ],
)
def test_too_little_data_is_an_answer_of_its_own(x: list[float], y: list[float], reason: Reason) -> None:
    assert least_squares(x, y) == CannotTell(reason)


def test_a_line_through_the_origin_needs_a_reading_away_from_it() -> None:
    assert through_origin([0.0, 0.0], [0.0, 0.1]) == CannotTell(Reason.ONE_EXPOSURE)
    assert through_origin([1.0], [0.1]) == CannotTell(Reason.TOO_FEW)


def test_exposures_without_values_are_refused() -> None:
    with pytest.raises(ValueError, match="one value for each exposure"):
        least_squares([1.0, 2.0], [1.0])
