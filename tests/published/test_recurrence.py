"""Repeated work against published tables."""

from __future__ import annotations

import pytest

from wearlog.calc.recurrence import (
    Unit,
    laplace,
    mean_cumulative,
    modified_power_law,
    power_law,
    trend_tests,
    unit,
)

# NIST/SEMATECH e-Handbook 8.4.5.2 and 8.2.3.4, case study 1: ten repairs in 1,500 h.
NIST = unit([5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478], 1500)

# MIL-HDBK-189 (1981), appendix C: 27 failure times in 300 h. 189C prints these rows with the estimates of 45
# failures; the values here belong to the 27.
HANDBOOK = unit(
    [2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5, 98.1, 101.1, 132.0]
    + [142.2, 147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1],
    300,
)

# ReliaWiki, recurrent event data analysis, five systems; numbers as in the reliability package's pages.
FIVE = [
    unit([5, 10, 15], 17),
    unit([6, 13, 17], 19),
    unit([12, 20, 25], 26),
    unit([13, 15], 24),
    unit([16, 22, 25], 28),
]


def test_nist_power_law_as_printed() -> None:
    found = modified_power_law(NIST)
    assert found is not None
    assert found.shape == pytest.approx(0.483506, abs=5e-7)
    assert found.growth == pytest.approx(0.516494, abs=5e-7)
    assert found.rate == pytest.approx(0.2913003, abs=5e-8)
    assert found.mean_time == pytest.approx(310.234, abs=5e-4)
    assert found.mean_time_range.low == pytest.approx(157.7138, abs=5e-5)
    assert found.mean_time_range.high == pytest.approx(548.5566, abs=5e-5)


def test_nist_power_law_by_maximum_likelihood() -> None:
    # Computed with numpy 2.4.6. reliability 0.9.0 gives 0.541527: it takes the last event for the end.
    found = power_law([NIST])
    assert found.shape == pytest.approx(0.537228866034, rel=1e-9)
    assert found.rate == pytest.approx(0.196658215714, rel=1e-9)
    assert (found.shape_range.low, found.shape_range.high) == pytest.approx(
        (0.257622123142, 0.917844958462), rel=1e-9
    )
    assert found.limits == "exact"


def test_nist_trend_tests() -> None:
    found = trend_tests(NIST)
    # 33 of 45 reversals and the chi-square are printed on the page (from memory); the rest is computed.
    assert (found.reversals, found.most_reversals) == (33, 45)
    assert found.laplace_z == pytest.approx(-1.32694918265, rel=1e-6)
    assert found.laplace_p == pytest.approx(0.184525493367, rel=1e-6)
    assert found.chi_square == pytest.approx(37.2280814835, rel=1e-6)
    assert found.freedom == 20
    assert found.p_upper == pytest.approx(0.0109863571158, rel=1e-6)


def test_the_end_of_observation_matters_to_a_trend() -> None:
    # Without the end at 1,500 h the last repair would be taken for it: -1.911 (surpyval 0.25) for -1.327.
    assert laplace([NIST]) == pytest.approx(-1.327, abs=5e-4)
    assert laplace([Unit(NIST.events, 1478.0)], terminated="failure") == pytest.approx(-1.911, abs=5e-4)


def test_handbook_power_law_of_27_failures() -> None:
    found = power_law([HANDBOOK])
    assert found.shape == pytest.approx(0.7163392624, rel=5e-6)
    assert found.rate == pytest.approx(0.4538418614, rel=5e-6)
    intensity = found.intensity(300)
    assert intensity == pytest.approx(0.0644705336, rel=5e-6)
    assert intensity is not None
    assert 1 / intensity == pytest.approx(15.510962, rel=5e-6)
    # Limits computed with numpy 2.4.6.
    assert (found.shape_range.low, found.shape_range.high) == pytest.approx(
        (0.472072087679, 1.01072880707), rel=1e-9
    )
    narrower = power_law([HANDBOOK], confidence=0.9).shape_range
    assert (narrower.low, narrower.high) == pytest.approx((0.505632287612, 0.957151511971), rel=1e-9)


def test_handbook_goodness_of_fit_with_the_bias_corrected_shape() -> None:
    found = modified_power_law(HANDBOOK)
    assert found is not None
    assert found.cramer_von_mises == pytest.approx(0.0910611, rel=5e-6)
    assert found.shape == pytest.approx(0.689808178575, rel=1e-9)  # computed with numpy 2.4.6


def test_mean_cumulative_function_of_five_systems_as_printed() -> None:
    points = mean_cumulative(FIVE)
    assert [point.age for point in points] == [5, 6, 10, 12, 13, 15, 16, 17, 20, 22, 25]
    values = [0.2, 0.4, 0.6, 0.8, 1.2, 1.6, 1.8, 2.0, 2.33333, 2.66667, 3.66667]
    assert [point.value for point in points] == pytest.approx(values, abs=1e-5)
    # The printed variance takes a system's events for independent of each other.
    printed = [0.032, 0.064, 0.096, 0.128, 0.192, 0.256, 0.288, 0.32, 0.394074, 0.468148, 0.718148]
    assert [point.independent_variance for point in points] == pytest.approx(printed, abs=1e-6)


def test_variance_that_knows_that_a_systems_events_go_together() -> None:
    # Lawless & Nadeau 1995; computed with numpy 2.4.6, and the same from surpyval 0.25.
    robust = [0.032, 0.048, 0.128, 0.112, 0.112, 0.208, 0.112, 0.16, 0.18962962963, 0.145185185185]
    robust += [0.145185185185]
    assert [point.variance for point in mean_cumulative(FIVE)] == pytest.approx(robust, rel=1e-9)


# Nelson 1995, diesel engine valve seats: replacement ages and end of observation of 41 engines; data as in
# the reda and survival packages.
VALVE_SEATS: list[tuple[list[float], float]] = [
    ([], 761), ([326, 653, 653], 667), ([], 665), ([87], 663), ([92], 653), ([258, 328, 377, 621], 650),
    ([61, 539], 648), ([254, 276, 298, 640], 644), ([76, 538], 642), ([349, 404, 561], 649), ([], 631),
    ([120, 479], 614), ([139, 139], 589), ([573], 589), ([165, 408, 604], 606), ([344, 497], 613),
    ([265, 586], 595), ([166, 206, 348], 389), ([410, 581], 601), ([], 587), ([202, 563, 570], 585),
    ([], 578), ([], 582), ([], 759), ([84], 667), ([646], 653), ([], 651), ([], 596), ([323, 449], 582),
    ([367], 603),
    ([], 578), ([98], 667), ([635], 641), ([249], 594), ([], 601), ([], 611), ([], 586), ([], 593), ([], 608),
    ([], 587), ([], 585),
]  # fmt: skip


def test_valve_seats() -> None:
    engines = [unit(events, end) for events, end in VALVE_SEATS]
    assert len(engines) == 41
    assert sum(engine.events.size for engine in engines) == 48
    points = {point.age: point for point in mean_cumulative(engines)}
    first = points[61]
    assert first.value == pytest.approx(0.024, abs=5e-4)  # SAS listing, from memory
    assert first.variance is not None
    assert first.variance**0.5 == pytest.approx(0.024, abs=5e-4)  # SAS listing, from memory
    assert first.variance**0.5 == pytest.approx(0.0240909657719, rel=1e-9)  # computed with numpy 2.4.6
    assert points[653].value == pytest.approx(1.54268751356, rel=1e-9)  # computed with numpy 2.4.6
