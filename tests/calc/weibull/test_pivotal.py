"""Limits that hold with few failures: against a plain version, and against the truth of simulated parts."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate, special

from tests.calc.weibull.coverage import Scheme, coverage
from wearlog.calc.life import fit_life, least_shape
from wearlog.calc.weibull import tails
from wearlog.calc.weibull.many import fit_many
from wearlog.calc.weibull.sets import B10

SETS = 4000


class Plain:
    """The formulas of `calc.weibull.pivotal` for one set, by adaptive quadrature over ln of the shape."""

    def __init__(self, ages: list[float], failed: list[bool]) -> None:
        self.top = max(ages)
        self.u = np.log(np.array(ages) / self.top)
        dead = np.array(failed)
        self.r = int(dead.sum())
        self.died = float(self.u[dead].sum())
        self.outlived = float(np.mean(self.u > self.u[dead].max()))
        self.peak = max(self.log_density(x) for x in np.linspace(-5, 5, 400))
        self.mass = self.integral(-14.0, 7.0)

    def log_sum(self, shape: float) -> float:
        return float(np.log(np.exp(shape * self.u).sum()))

    def log_density(self, x: float) -> float:
        shape = np.exp(x)
        return float(
            (self.r - 1 + self.outlived) * x + shape * self.died - self.r * self.log_sum(float(shape))
        )

    def integral(self, low: float, high: float, y: float | None = None, level: float = 0.0) -> float:
        def inside(x: float) -> float:
            weight = float(np.exp(self.log_density(x) - self.peak))
            if y is None:
                return weight
            shape = float(np.exp(x))
            reached = np.exp(min(600.0, self.log_sum(shape) + level - shape * y))
            return weight * float(special.gammaincc(self.r, reached))

        points = np.linspace(low, high, 40)
        return sum(
            float(integrate.quad(inside, start, end, epsabs=1e-12, epsrel=1e-9)[0])
            for start, end in pairwise(points)
        )

    def chance_of_shape(self, shape: float) -> float:
        return self.integral(-14.0, float(np.log(shape))) / self.mass

    def chance_of_quantile(self, age: float, level: float) -> float:
        return self.integral(-14.0, 7.0, float(np.log(age / self.top)), level) / self.mass


@pytest.mark.parametrize(
    ("ages", "failed"),
    [
        ([310.0, 720.0, 1450.0], [True] * 3),
        ([310.0, 400.0, 720.0, 720.0, 720.0, 720.0], [True, True, True, False, False, False]),
        ([150.0, 310.0, 340.0, 480.0, 900.0, 900.0], [False, True, True, True, False, False]),
        ([20.0, 90.0, 95.0, 101.0, 130.0, 180.0, 300.0, 310.0, 450.0], [True] * 9),
        ([20.0, 90.0, 95.0, 101.0, 130.0, 180.0, 300.0, 310.0, 450.0, 500.0], [True] * 10),
        ([54, 187, 216, 240, 244, 335, 361, 373, 375, 386, *[500] * 10], [True] * 10 + [False] * 10),
        ([*range(60, 360, 12), *range(75, 500, 60)], [True] * 25 + [False] * 8),
    ],
)
def test_each_limit_is_passed_with_the_chance_that_it_says(ages: list[float], failed: list[bool]) -> None:
    life, plain = fit_life(ages, failed), Plain(ages, failed)
    for span, chance_of in (
        (life.shape_range, plain.chance_of_shape),
        (life.scale_range, lambda age: plain.chance_of_quantile(age, 0.0)),
        (life.b10_range, lambda age: plain.chance_of_quantile(age, B10)),
    ):
        assert span.low is not None
        assert span.high is not None
        assert chance_of(span.low) == pytest.approx(0.025, abs=1e-4)
        assert chance_of(span.high) == pytest.approx(0.975, abs=1e-4)


def test_whole_and_broken_counts_have_the_same_formula() -> None:
    # Three failures counted once, and counted 1 + 1e-9 times, which goes by the incomplete gamma function.
    ages, failed = [[310.0, 720.0, 1450.0, 900.0]], [[True, True, True, False]]
    whole = fit_many(ages, failed)
    broken = fit_many(ages, failed, np.full((1, 4), 1 + 1e-9))
    for name in ("shape_low", "shape_high", "scale_low", "scale_high", "b10_low", "b10_high"):
        assert getattr(broken, name)[0] == pytest.approx(getattr(whole, name)[0], rel=1e-6)


def test_nearly_all_alive_at_one_age_has_the_exact_chi_square_limits() -> None:
    # Failures of a Poisson process of power form, watched to an age: 2 b sum(ln(end / t)) is chi-square with
    # 2r degrees of freedom (Crow 1974; MIL-HDBK-189).
    failures, end = [200.0, 500.0, 800.0], 1000.0
    found = fit_many([[*failures, end]], [[1, 1, 1, 0]], [[1, 1, 1, 1e7]])
    pull = 2 * float(np.sum(np.log(end / np.array(failures))))
    assert found.shape_low[0] == pytest.approx(2 * special.gammaincinv(3, 0.025) / pull, rel=1e-4)
    assert found.shape_high[0] == pytest.approx(2 * special.gammaincinv(3, 0.975) / pull, rel=1e-4)


def within(share: float, truth: float, kept: int) -> bool:
    """Whether a simulated share agrees with a true one: four standard errors of the binomial, which a right
    program oversteps once in 16,000."""
    return bool(abs(share - truth) < 4 * (truth * (1 - truth) / kept) ** 0.5)


@pytest.mark.parametrize("failures", [3, 4, 5])
@pytest.mark.parametrize("parts", ["as many", 12])
def test_limits_are_exact_where_observation_ends_with_a_failure(failures: int, parts: str | int) -> None:
    units = failures if parts == "as many" else 12
    got = coverage(Scheme("to_the_last", units, failures), sets=SETS, seed=40 + failures)
    assert got.kept == SETS
    assert within(got.shape, 0.95, SETS)
    assert within(got.scale, 0.95, SETS)
    assert within(got.b10, 0.95, SETS)
    assert within(got.shape_too_high, 0.025, SETS)


@pytest.mark.parametrize("scheme", ["to_an_age", "joined_late"])
@pytest.mark.parametrize(("units", "failures"), [(12, 3), (12, 4), (12, 5), (30, 4)])
def test_limits_hold_about_as_often_as_they_say_where_observation_ends_at_an_age(
    scheme: str, units: int, failures: int
) -> None:
    # No exact limits exist here. Bounds: 93 to 97 % for the shape; scale and B10 may hold more often, since
    # sets with fewer than three failures, whose scale seems too great, are left out. Binomial error on top.
    got = coverage(Scheme(scheme, units, failures), sets=SETS, seed=60 + failures)
    loose = 3 * (0.95 * 0.05 / got.kept) ** 0.5
    assert 0.93 - loose < got.shape < 0.97 + loose
    assert 0.93 - loose < got.scale < 0.985 + loose
    assert 0.93 - loose < got.b10 < 0.985 + loose
    assert got.shape_too_high < 0.025 + loose


@pytest.mark.parametrize("failures", [10, 15, 20, 30, 50])
def test_limits_stay_exact_with_ten_to_fifty_failures(failures: int) -> None:
    for units in (failures, 2 * failures):
        got = coverage(Scheme("to_the_last", units, failures), sets=SETS, seed=units)
        for share in (got.shape, got.scale, got.b10):
            assert within(share, 0.95, SETS)
        assert within(got.shape_too_high, 0.025, SETS)


@pytest.mark.parametrize("name", ["to_an_age", "joined_late"])
@pytest.mark.parametrize(
    ("units", "failures"), [(12, 3), (12, 4), (12, 5), (20, 7), (20, 10), (40, 20), (100, 50)]
)
def test_limits_hold_in_93_to_97_of_a_hundred_where_nobody_looks_before_the_third_failure(
    name: str, units: int, failures: int
) -> None:
    got = coverage(Scheme(name, units, failures, until_three=True), sets=SETS, seed=80 + failures)
    assert got.kept == SETS
    for share in (got.shape, got.scale, got.b10):
        assert share > 0.93 or within(share, 0.93, SETS)
        assert share < 0.97 or within(share, 0.97, SETS)
    assert got.shape_too_high < 0.025 or within(got.shape_too_high, 0.025, SETS)


def test_limits_of_the_likelihood_ratio_call_shapes_too_high_with_ten_failures() -> None:
    # Why they are not used: they reckon as if the scale were known. They hold in 92.7 % and err upward.
    got = coverage(Scheme("to_the_last", 10, 10), sets=SETS, seed=10, by_likelihood=True)
    for share in (got.shape, got.scale, got.b10):
        assert within(share, 0.929, SETS)
    assert within(got.shape_too_high, 0.063, SETS)


@pytest.mark.parametrize("failures", [3.0, 9.0, 9.5, 10.0, 10.5, 27.0, 50.0, 5000.0])
def test_the_tail_of_a_gamma_variable_is_that_of_the_incomplete_gamma_function(failures: float) -> None:
    g = failures + np.sqrt(failures) * np.linspace(-2.9, 5, 801) * (1 if failures > 9 else 0.5)
    g = np.append(g, [failures, failures * (1 + 1e-12), failures * (1 + 1e-6), failures * (1 - 1e-5)])
    g = g[g > 0]
    chance, density = tails.above(np.array([failures]), np.log(g)[None])
    assert np.abs(chance[0] - special.gammaincc(failures, g)).max() < 1e-4
    expected = np.exp(failures * np.log(g) - g - special.gammaln(failures))
    assert density[0] == pytest.approx(expected, rel=1e-4, abs=1e-12)


@pytest.mark.parametrize("failures", [3, 5, 10, 20])
def test_parts_that_fail_by_chance_seldom_seem_to_wear_out(failures: int) -> None:
    # Shape 1: the least shape of a 95 % range lies above 1 in 2.5 % of cases. A likelihood-ratio limit does
    # so in 15 % with three failures and in 6 % with ten.
    rng = np.random.default_rng(failures)
    sets = 2000
    ages = 100 * rng.weibull(1.0, (sets, failures))
    wrong = [(least_shape(row, [True] * failures) or 0.0) > 1 for row in ages]
    assert within(float(np.mean(wrong)), 0.025, sets)


def test_a_life_says_which_kind_its_limits_are() -> None:
    ages = [100.0 + 10 * n for n in range(12)]
    assert [fit_life(ages[:n], [1] * n).limits for n in (1, 2, 3, 9, 10)] == [
        "none",
        "likelihood ratio",
        "exact",
        "exact",
        "exact",
    ]


def test_the_least_shape_is_the_lower_limit_where_that_is_exact_and_unknown_for_one_age() -> None:
    ages, failed = [310.0, 400.0, 720.0, 720.0], [1, 1, 1, 0]
    assert least_shape(ages, failed) == pytest.approx(fit_life(ages, failed).shape_range.low, rel=1e-9)
    assert least_shape([310.0, 310.0], [1, 1]) is None
