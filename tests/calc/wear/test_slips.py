"""What counts as a slip, against the densities that the formulas come from."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from wearlog.calc.wear import slips


@pytest.mark.parametrize("away", [0.0, 1.0, 2.5, 3.5, 4.0, 6.0, 20.0])
def test_a_reading_is_odd_by_the_densities_of_a_usual_and_a_gross_error(away: float) -> None:
    usual = 0.99 * stats.norm.pdf(away)
    odd = 0.01 * stats.norm.pdf(away, scale=10.0)
    assert slips.odd_share(np.array([away]))[0] == pytest.approx(odd / (usual + odd), rel=1e-9)


def test_a_reading_three_gauge_errors_off_still_counts_and_one_six_off_does_not() -> None:
    odd = slips.odd_share(np.array([3.0, 6.0]))
    assert odd[0] < 0.1
    assert odd[1] > 0.99


def test_a_slip_is_at_least_a_third_of_the_wear_that_is_allowed_or_eight_gauge_errors() -> None:
    assert slips.gross(0.01) == 0.35
    assert slips.gross(0.1) == pytest.approx(0.8)
