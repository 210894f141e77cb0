"""What is left of an expected life at an age."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wearlog.calc.policy import left_of_life


@pytest.mark.parametrize("age", [0.0, 500.0, 1000.0, 3000.0])
@pytest.mark.parametrize("chance", [0.1, 0.5, 0.9])
def test_it_is_the_quantile_of_the_lives_that_reach_the_age(age: float, chance: float) -> None:
    life = stats.lognorm(0.4, scale=1000)
    left = left_of_life(expected=1000, age=age, spread=0.4, chance=chance)
    passed = (life.cdf(age + left) - life.cdf(age)) / life.sf(age)
    assert passed == pytest.approx(chance, rel=1e-6)


def test_half_of_new_parts_last_as_expected() -> None:
    assert left_of_life(expected=1000, age=0, spread=0.4, chance=0.5) == pytest.approx(1000)


@given(age=st.floats(0, 1e5), chance=st.floats(0.01, 0.98))
def test_a_later_chance_leaves_more_and_never_less_than_nothing(age: float, chance: float) -> None:
    sooner = left_of_life(expected=1000, age=age, spread=0.4, chance=chance)
    later = left_of_life(expected=1000, age=age, spread=0.4, chance=chance + 0.01)
    assert 0 <= sooner <= later


def test_impossible_numbers_are_refused() -> None:
    for wrong in ({"expected": 0.0}, {"age": -1.0}, {"spread": 0.0}, {"chance": 1.0}):
        with pytest.raises(ValueError, match="must be above 0"):
            left_of_life(**({"expected": 1000.0, "age": 0.0, "spread": 0.4, "chance": 0.5} | wrong))
