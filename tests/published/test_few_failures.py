"""Weibull limits with few failures against published tables and distributions."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from wearlog.calc.life import least_shape
from wearlog.calc.weibull.many import fit_many

# Thoman, Bain and Antle 1969, Technometrics 11:445, table 1: the estimated shape over the true one lies below
# these values in 5 and 95 % of complete samples. From memory; the table itself was drawn by Monte Carlo.
SHAPE_RATIO = {5: (0.683, 2.779), 10: (0.738, 1.807), 20: (0.791, 1.449)}


@pytest.mark.parametrize("units", SHAPE_RATIO)
def test_the_estimated_shape_is_spread_as_in_the_table_of_thoman_bain_and_antle(units: int) -> None:
    ages = np.random.default_rng(units).weibull(1.0, (20_000, units))
    ratio = fit_many(ages, np.ones_like(ages)).shape
    low, high = np.quantile(ratio, [0.05, 0.95])
    # Two drawn tables: 1 % for the low side, 4 % for the high one (for five, a million samples give 2.84).
    assert low == pytest.approx(SHAPE_RATIO[units][0], rel=0.01)
    assert high == pytest.approx(SHAPE_RATIO[units][1], rel=0.04)


def test_limits_of_the_shape_average_to_those_of_the_table() -> None:
    # Our limits are conditional on how the failures lie to each other, the table's are not; both hold
    # exactly, so that in the middle of many samples they lie near each other: from shape / 2.779 to
    # shape / 0.683 at 90 %.
    ages = np.random.default_rng(1).weibull(1.0, (4_000, 5))
    found = fit_many(ages, np.ones_like(ages), confidence=0.90)
    low = np.median(found.shape / found.shape_low)
    high = np.median(found.shape / found.shape_high)
    assert low == pytest.approx(2.779, rel=0.05)
    assert high == pytest.approx(0.683, rel=0.05)


def test_a_few_failures_in_a_great_number_have_the_chi_square_limits_of_crow() -> None:
    # MIL-HDBK-189 (1981), appendix C: 27 failure times to T = 300. Failures that are rare among a great many
    # units come as such a process, whose shape has exact limits: 2 N true shape / estimate is chi-square
    # with 2 N degrees of freedom (Crow 1974, from memory).
    times = [2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5, 98.1, 101.1]
    times += [132.0, 142.2, 147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1]
    found = least_shape([*times, 300.0], [1] * 27 + [0], [1] * 27 + [10**8])
    pull = 2 * float(np.sum(np.log(300.0 / np.array(times))))
    assert found == pytest.approx(stats.chi2.ppf(0.025, 2 * 27) / pull, rel=1e-4)
    assert 27 / (pull / 2) == pytest.approx(0.7163392624, rel=1e-6)  # printed there
