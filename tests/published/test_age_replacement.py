"""Age replacement against published figures."""

from __future__ import annotations

import numpy as np
import pytest

from wearlog.calc.policy import cost_rate, oil_per_kg, replacement, replacement_of


def test_weibull_of_shape_two_and_a_half() -> None:
    # ReliaWiki, "Optimum Replacement Time Example": shape 2.5, scale 1,000, planned 1, unplanned 5. The
    # documented 493.19 (reliability package) comes from a grid of 10,000 points; the cost is flat around it.
    found = replacement(shape=2.5, scale=1000, planned_cost=1, failure_cost=5)
    assert found.best_age == pytest.approx(493.19, abs=0.2)
    assert found.cost_rate == pytest.approx(0.0035, abs=5e-5)
    # Computed with scipy 1.17.1 as the root of the optimum's condition.
    assert found.best_age == pytest.approx(493.046957597, abs=1e-6)
    assert found.cost_rate == pytest.approx(0.00346204273879, abs=1e-12)
    assert found.run_to_failure_cost == pytest.approx(0.00563530248993, abs=1e-12)
    assert found.saving == pytest.approx(0.385650948645, abs=1e-9)


def test_weibull_of_shape_three() -> None:
    # Cost-rate formula read in Gutierrez-Miravete's ICRA6 slides; computed with scipy 1.17.1 for 1 and 11.
    found = replacement(shape=3, scale=10, planned_cost=1, failure_cost=11)
    assert found.best_age == pytest.approx(3.69171323085, rel=1e-8)
    assert found.cost_rate == pytest.approx(0.408862397365, rel=1e-8)
    assert found.run_to_failure_cost == pytest.approx(1.23183117389, rel=1e-8)


def uniform(age: np.ndarray) -> np.ndarray:
    return 1 - age / 40000


@pytest.mark.parametrize(("age", "printed"), [(10000, 0.0143), (20000, 0.01), (30000, 0.0093), (40000, 0.01)])
def test_uniform_life_at_the_printed_ages(age: float, printed: float) -> None:
    # Jardine & Tsang, Maintenance, Replacement and Reliability, chapter 2, problem 2: uniform life on 0 to
    # 40,000 km, planned 100, failure 200 (excerpt of the solution manual).
    assert cost_rate(age, uniform, 100, 200) == pytest.approx(printed, abs=5e-5)


def test_uniform_life_has_its_best_age_near_the_best_of_the_printed_grid() -> None:
    found = replacement_of(
        survival=uniform,
        hazard=lambda age: 1 / (40000 - age),
        greatest_age=40000,
        planned_cost=100,
        failure_cost=200,
    )
    # Closed form: 40,000 (sqrt(3) - 1); computed.
    assert found.best_age == pytest.approx(29282.0323028, rel=1e-9)
    assert found.cost_rate == pytest.approx(0.00933012701892, rel=1e-9)


def test_oil_left_in_the_cake_as_presses_wear() -> None:
    # Kem. Ind. 53(9) 2004 393: cake oil of the last press rose from 8.6 to 11.5 % as its knives wore; at 42 %
    # oil in the seed that is 20.8 kg of oil per tonne of seed (own arithmetic on the paper's figures).
    assert 1000 * (oil_per_kg(0.42, 0.086) - oil_per_kg(0.42, 0.115)) == pytest.approx(20.8, abs=0.05)
