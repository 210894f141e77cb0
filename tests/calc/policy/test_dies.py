"""Dies for a season: the least number whose lives add up to the planned seed, against simulation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, special

from wearlog.calc.policy import EdgeLives, dies_to_make, good_for, spread_of

DRAWS = 20_000


def drawn(kind: str, mean: float, cv: float, shape: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    lives: np.ndarray
    if kind == "gamma":
        lives = mean * cv**2 * rng.gamma(1 / cv**2, size=shape)
        return lives
    if kind == "lognormal":
        sd = np.sqrt(np.log(1 + cv**2))
        lives = mean * np.exp(sd * rng.standard_normal(shape) - sd**2 / 2)
        return lives
    power = optimize.brentq(
        lambda b: np.sqrt(special.gamma(1 + 2 / b) / special.gamma(1 + 1 / b) ** 2 - 1) - cv, 0.5, 40
    )
    lives = mean * rng.weibull(power, shape) / special.gamma(1 + 1 / power)
    return lives


@pytest.mark.parametrize("kind", ["gamma", "lognormal", "weibull"])
@pytest.mark.parametrize("cv", [0.1, 0.2, 0.4])
@pytest.mark.parametrize("level", [0.9, 0.95, 0.99])
def test_number_and_chance_agree_with_simulated_seasons(kind: str, cv: float, level: float) -> None:
    rng = np.random.default_rng(8)
    own, shared, plan = 11.0 * cv, 0.1, 0.12
    at_hand = [(11.0, own), (6.0, own * 6 / 11)]
    for planned in (40.0, 110.0, 330.0):
        found = dies_to_make(
            planned=planned,
            new_edge=(11.0, own),
            edges=2,
            at_hand=EdgeLives.of(at_hand),
            planned_cv=plan,
            shared_cv=shared,
            service_level=level,
        )
        assert found.make is not None
        most = 2 * (found.make + 3)
        lives = drawn(kind, 11.0, cv, (DRAWS, most + 1), rng)
        hand = lives[:, -1] + drawn(kind, 6.0, cv, (DRAWS, 1), rng)[:, 0]
        goal = planned * np.exp(np.hypot(plan, shared) * rng.standard_normal(DRAWS))
        total = hand[:, None] + np.cumsum(lives[:, :-1], axis=1)[:, 1::2]
        enough = np.concatenate([[np.mean(hand >= goal)], np.mean(total >= goal[:, None], axis=0)])
        assert found.enough == pytest.approx(enough[found.make], abs=0.02)
        assert abs(int(np.argmax(enough >= level)) - found.make) <= 1


def test_pessimistic_lives_added_up_would_make_two_to_three_times_too_many() -> None:
    # Edges of 11.0 t with a spread of 1.2, none at hand, a plan that is kept. Dividing by the 10 % life of
    # an edge (9.46 t) and adding a die for each of three presses makes 5, 10 and 20.
    made = [
        dies_to_make(planned=p, new_edge=(11.0, 1.2), edges=2, service_level=0.99).make
        for p in (20, 120, 320)
    ]
    assert made == [2, 6, 16]


def test_an_uncertain_rate_that_all_edges_share_does_not_even_out() -> None:
    alone = dies_to_make(planned=200, new_edge=(10.0, 3.0), edges=2)
    shared = dies_to_make(planned=200, new_edge=(10.0, 0.0), edges=2, shared_cv=0.3)
    assert alone.make is not None
    assert shared.make is not None
    assert (alone.make, shared.make) == (12, 16)


@given(
    planned=st.floats(min_value=0, max_value=500),
    life=st.floats(min_value=2, max_value=50),
    cv=st.floats(min_value=0, max_value=0.6),
    unit=st.floats(min_value=1e-3, max_value=1e3),
)
def test_a_surer_season_never_takes_fewer_and_the_unit_does_not_matter(
    planned: float, life: float, cv: float, unit: float
) -> None:
    made = [
        dies_to_make(planned=planned, new_edge=(life, cv * life), edges=2, service_level=level).make or 0
        for level in (0.5, 0.9, 0.99)
    ]
    assert made == sorted(made)
    other = dies_to_make(
        planned=planned * unit, new_edge=(life * unit, cv * life * unit), edges=2, service_level=0.9
    )
    assert abs((other.make or 0) - made[1]) <= (1 if cv == 0 else 0)


def test_dies_at_hand_and_spares_to_be_left_over_count() -> None:
    hand = EdgeLives.of([(10.0, 1.0)] * 8)
    assert dies_to_make(planned=60, new_edge=(10.0, 1.0), edges=2, at_hand=hand).make == 0
    kept = dies_to_make(planned=60, new_edge=(10.0, 1.0), edges=2, at_hand=hand, reserve=2)
    assert kept.make in (1, 2)
    assert dies_to_make(planned=1, new_edge=(10.0, 1.0), edges=2, least=2).make == 2
    assert dies_to_make(planned=0, new_edge=(10.0, 1.0), edges=2).make == 0


def test_an_unknown_life_is_said_and_impossible_numbers_are_refused() -> None:
    found = dies_to_make(planned=60, new_edge=None, edges=2)
    assert (found.make, "nothing is known" in found.reason) == (None, True)
    with pytest.raises(ValueError, match="life must be above 0"):
        dies_to_make(planned=60, new_edge=(0.0, 1.0), edges=2)
    with pytest.raises(ValueError, match="not be negative"):
        dies_to_make(planned=-1, new_edge=(1.0, 1.0), edges=2)
    with pytest.raises(ValueError, match="service level"):
        dies_to_make(planned=1, new_edge=(1.0, 1.0), edges=2, service_level=1.0)
    many = dies_to_make(planned=1e9, new_edge=(1.0, 0.1), edges=1)
    assert (many.make, "check the plan" in many.reason) == (None, True)


def test_what_edges_take_at_least_is_the_quantile_of_their_sum() -> None:
    rng = np.random.default_rng(2)
    hand = EdgeLives.of([(10.0, 3.0)] * 4)
    total = drawn("gamma", 10.0, 0.3, (DRAWS, 4), rng).sum(axis=1)
    assert good_for(hand, 0.9) == pytest.approx(np.quantile(total, 0.1), rel=0.01)
    assert good_for(EdgeLives(0.0, 0.0), 0.9) == 0.0
    assert good_for(EdgeLives.of([(10.0, 0.0)]), 0.9) == 10.0


def test_mean_and_spread_of_a_normal_and_of_a_skewed_life_come_back_from_their_points() -> None:
    mean, sd = spread_of(100 - 12.816, 100, 100 + 12.816)
    assert mean == pytest.approx(100)
    assert sd == pytest.approx(10, rel=0.01)
    points = 10 * np.exp(0.4 * special.ndtri([0.1, 0.5, 0.9]))
    mean, sd = spread_of(*points.tolist())
    assert mean == pytest.approx(10 * np.exp(0.08), rel=0.01)
    assert sd == pytest.approx(mean * np.sqrt(np.expm1(0.16)), rel=0.08)
    with pytest.raises(ValueError, match="in order"):
        spread_of(3, 2, 4)
