"""Weibull fits, product-limit estimates and fixed shapes against published figures."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from wearlog.calc.life import fit_life, fixed_shape, kaplan_meier, median_life, rank_regression, wald_range
from wearlog.calc.weibull.many import fit_many

# NIST/SEMATECH e-Handbook 8.4.1.3: ten failures and ten units still running at 500 h.
NIST_FAILED = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
NIST = (NIST_FAILED + [500] * 10, [1] * 10 + [0] * 10)

# Meeker & Escobar 1998, p. 630: shock absorbers, both failure modes (11 failures, 27 censored).
SHOCK_FAILED = [6700, 9120, 12200, 13150, 14300, 17520, 20100, 20900, 22700, 26510, 27490]
SHOCK_CENSORED = [6950, 7820, 8790, 9660, 9820, 11310, 11690, 11850, 11880, 12140, 12870, 13330, 13470, 14040]
SHOCK_CENSORED += [17540, 17890, 18450, 18960, 18980, 19410, 20100, 20150, 20320, 23490, 27410, 27890, 28100]
SHOCK = (SHOCK_FAILED + SHOCK_CENSORED, [1] * 11 + [0] * 27)

# Abernethy, The New Weibull Handbook, figure 2-5: five failures, three suspensions.
ABERNETHY = ([30, 49, 82, 90, 96, 10, 45, 100], [1] * 5 + [0] * 3)

# Lieblein & Zelen 1956: 23 ball bearings, million revolutions. Some copies print 48.48 (from memory).
BEARINGS = [17.88, 28.92, 33.0, 41.52, 42.12, 45.6, 48.4, 51.84, 51.96, 54.12, 55.56, 67.8, 68.64, 68.64]
BEARINGS += [68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.4]


def shape_by_likelihood(ages: Sequence[float], failed: Sequence[int]) -> tuple[float, float]:
    """The shape's likelihood-ratio limits at 95 %, as other programs give them."""
    found = fit_many([ages], [failed], by_likelihood=True)
    return float(found.shape_low[0]), float(found.shape_high[0])


def test_nist_twenty_units_as_printed() -> None:
    life = fit_life(*NIST)
    assert life.scale == pytest.approx(606.528, abs=0.001)
    assert life.shape == pytest.approx(1.7208, abs=5e-5)
    assert life.log_likelihood == pytest.approx(-75.135, abs=5e-4)
    assert life.aic == pytest.approx(154.27, abs=0.005)
    assert life.mean == pytest.approx(540.737, abs=0.001)
    assert life.sd == pytest.approx(323.806, abs=0.01)


def test_nist_twenty_units_to_all_digits() -> None:
    # Computed with scipy 1.17.1 (bracketed root of the profile score).
    life = fit_life(*NIST)
    assert life.shape == pytest.approx(1.7207972608, rel=1e-9)
    assert life.scale == pytest.approx(606.527558004, rel=1e-9)
    assert shape_by_likelihood(*NIST) == pytest.approx((0.905645358752, 2.88573786574), rel=1e-8)
    assert life.b10 == pytest.approx(164.02243866, rel=1e-9)
    assert life.se_log_scale == pytest.approx(0.205943908988, rel=1e-8)
    assert life.se_log_shape == pytest.approx(0.29181276315, rel=1e-8)


def test_shock_absorbers_with_their_printed_wald_limits() -> None:
    # Estimates and limits of ln scale and 1/shape printed in the weibulltools package's documentation.
    life = fit_life(*SHOCK)
    assert life.scale is not None
    assert life.shape is not None
    assert life.se_log_scale is not None
    assert life.se_log_shape is not None
    assert math.log(life.scale) == pytest.approx(10.2299, abs=5e-5)
    assert 1 / life.shape == pytest.approx(0.3164, abs=5e-5)
    for confidence, mu, sigma in [
        (0.95, (10.0144824, 10.4452437), (0.2011036, 0.4978267)),
        (0.99, (9.9468049, 10.5129212), (0.1744101, 0.5740192)),
    ]:
        scale = wald_range(life.scale, life.se_log_scale, confidence=confidence)
        width = wald_range(1 / life.shape, life.se_log_shape, confidence=confidence)
        assert scale.low is not None
        assert scale.high is not None
        assert (math.log(scale.low), math.log(scale.high)) == pytest.approx(mu, abs=2e-6)
        assert (width.low, width.high) == pytest.approx(sigma, abs=2e-6)


def test_shock_absorbers_with_likelihood_ratio_limits() -> None:
    # Computed with scipy 1.17.1.
    assert shape_by_likelihood(*SHOCK) == pytest.approx((1.89853217001, 4.77139078064), rel=1e-8)


def test_abernethys_figure_is_a_rank_regression_and_not_a_likelihood_fit() -> None:
    assert rank_regression(*ABERNETHY) == pytest.approx((2.024, 94.998), abs=5e-4)  # printed
    life = fit_life(*ABERNETHY)
    assert life.shape == pytest.approx(3.01701856488, rel=1e-8)  # computed with scipy 1.17.1
    assert life.scale == pytest.approx(87.9562918404, rel=1e-8)  # computed with scipy 1.17.1


def test_ball_bearings_without_censoring() -> None:
    life = fit_life(BEARINGS, [1] * 23)
    assert life.shape == pytest.approx(2.102, abs=5e-4)  # Lawless 1982, from memory
    assert life.scale == pytest.approx(81.88, abs=0.01)  # Lawless 1982, from memory
    found = shape_by_likelihood(BEARINGS, [1] * 23)
    assert found == pytest.approx((1.50399124255, 2.79126535096), rel=1e-8)


def test_two_failures_have_a_free_fit_with_its_wide_range_and_rest_on_assumed_shapes() -> None:
    # Constructed: a linear Wald limit of the shape lies below 0 (lifelines 0.30.3 prints -0.73).
    life = fit_life([300, 420, 100, 500], [1, 1, 0, 0])
    assert life.shape == pytest.approx(4.03417544695, rel=1e-6)
    assert life.scale == pytest.approx(474.827988728, rel=1e-6)
    assert (life.shape_range.low, life.shape_range.high) == pytest.approx(
        (0.883847944412, 10.652326614), rel=1e-6
    )
    assert life.basis == "fixed_shape"
    assert "fewer than three failures" in life.reason


def test_a_fixed_shape_of_two_on_the_nist_data() -> None:
    # Scale (sum t^b / r)^(1/b) as documented in WeibullR; one-sided limit as documented in surpyval (Nelson
    # 1985; Abernethy, chapter 6). Computed: no number is printed for this combination.
    found = fixed_shape(*NIST, shape=2.0)
    assert found.scale == pytest.approx(580.773019346, rel=1e-9)
    assert found.one_sided_low == pytest.approx(445.928363048, rel=1e-9)
    assert (found.scale_range.low, found.scale_range.high) == pytest.approx(
        (428.263797538, 838.676597844), rel=1e-9
    )


# R's survival package, tests/doaml.Rout.save: leukaemia, the maintained group, summary(survfit).
AML = ([9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161], [1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 0])


def test_product_limit_table_of_the_maintained_group() -> None:
    steps = kaplan_meier(*AML)
    assert [step.age for step in steps] == [9, 13, 18, 23, 31, 34, 48]
    assert [step.at_risk for step in steps] == [11, 10, 8, 7, 5, 4, 2]
    survival = [0.909, 0.818, 0.716, 0.614, 0.491, 0.368, 0.184]
    assert [step.survival for step in steps] == pytest.approx(survival, abs=5e-4)
    errors = [0.0867, 0.1163, 0.1397, 0.1526, 0.1642, 0.1627, 0.1535]
    assert [step.std_err for step in steps] == pytest.approx(errors, abs=5e-5)
    low = [0.7541, 0.6192, 0.4884, 0.3769, 0.2549, 0.1549, 0.0359]
    assert [step.low for step in steps] == pytest.approx(low, abs=5e-5)
    high = [1.0, 1.0, 1.0, 0.999, 0.946, 0.875, 0.944]
    assert [step.high for step in steps] == pytest.approx(high, abs=5e-4)
    assert median_life(steps) == 31
