"""Control charts against published tables."""

from __future__ import annotations

import numpy as np
import pytest

from wearlog.calc.drift import cusum, ewma

# NIST/SEMATECH e-Handbook 6.3.2.4: data and table of the EWMA example; weight 0.3, target 50, s 2.0539.
NIST_X = [52, 47, 53, 49.3, 50.1, 47, 51, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4]
NIST_X += [53.6, 52.1]
NIST_EWMA = [50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05]
NIST_EWMA += [49.38, 49.92, 50.73, 51.23, 51.94, 51.99]


def test_nist_ewma_table_and_its_steady_limits() -> None:
    chart = ewma(NIST_X, target=50, sd=2.0539, weight=0.3, width=3)
    np.testing.assert_allclose(chart.ewma, NIST_EWMA, atol=0.0051)
    # The page rounds the square root of 0.3/1.7 to 0.4201.
    assert chart.steady_upper == pytest.approx(52.5884, abs=1e-4)
    assert chart.steady_lower == pytest.approx(47.4115, abs=1e-4)
    assert chart.alarms == ()


def test_nist_ewma_limits_at_each_point() -> None:
    # Computed from the same formula with numpy 2.4.6: first, second and last point.
    chart = ewma(NIST_X, target=50, sd=2.0539, weight=0.3, width=3)
    assert chart.upper[[0, 1, 19]].tolist() == pytest.approx(
        [51.84851, 52.2563940121, 52.5884309141], rel=1e-11
    )
    assert chart.lower[[0, 1, 19]].tolist() == pytest.approx(
        [48.15149, 47.7436059879, 47.4115690859], rel=1e-11
    )


# NIST/SEMATECH e-Handbook 6.3.2.3: tabular CUSUM, target 325, k 0.3175, h 4.1959. Printed values round ties
# both ways (14.445 is printed 14.44, 19.035 is printed 19.04).
NIST_GROUPS = [324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6, 324.625]
NIST_GROUPS += [325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35]
NIST_HIGH = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.0, 19.04]
NIST_LOW = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0]


def test_nist_cusum_table_and_its_signals() -> None:
    chart = cusum(NIST_GROUPS, target=325, slack=0.3175, limit=4.1959)
    np.testing.assert_allclose(chart.high, NIST_HIGH, atol=0.006)
    np.testing.assert_allclose(chart.low, NIST_LOW, atol=0.006)
    assert [place + 1 for place in chart.alarms] == [14, 15, 16, 17, 18, 19, 20]


def test_ewma_of_three_values_from_the_qcc_packages_own_tests() -> None:
    # luca-scr/qcc, tests/testthat/test-ewma.R: weight 0.5, target 10, s 2.
    chart = ewma([11, 13, 12], target=10, sd=2, weight=0.5, width=2)
    assert chart.ewma.tolist() == pytest.approx([10.5, 11.75, 11.875], abs=1e-10)
    assert chart.sd.tolist() == pytest.approx([1, 1.11803398875, 1.14564392374], abs=1e-10)
    # Computed with numpy 2.4.6: target + 2 s_i.
    assert chart.upper.tolist() == pytest.approx([12, 12.2360679775, 12.2912878475], abs=1e-9)
