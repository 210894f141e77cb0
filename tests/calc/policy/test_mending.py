"""Rebuild or buy: a way is named where the lives on record bear it, and not for a tie."""

from __future__ import annotations

import numpy as np
import pytest

from tests.calc.policy.figures import ways_named
from wearlog.calc.policy import Way, mend_or_buy

SETS = 400


@pytest.mark.parametrize("shape", [1.3, 3.0])
@pytest.mark.parametrize(
    ("mended", "new", "going_on"), [(1, 1, 0), (2, 2, 0), (2, 6, 0), (3, 3, 0), (3, 3, 3), (6, 6, 2)]
)
def test_a_tie_has_no_winner(shape: float, mended: int, new: int, going_on: int) -> None:
    # 5 % is nominal; three standard errors of 400 sets are 3.3 %. Comparing two means named one in 88 %.
    found, _means = ways_named(ratio=1.0, shape=shape, mended=mended, new=new, going_on=going_on, sets=SETS)
    assert 1 - found.count(None) / SETS < 0.05 + 0.033


def test_a_way_at_half_the_cost_is_named_once_some_lives_have_ended_and_never_the_other() -> None:
    six, _means = ways_named(ratio=2.0, shape=3.0, mended=6, new=6, sets=SETS)
    assert six.count("mend") / SETS > 0.6
    assert six.count("buy") == 0
    twelve, _means = ways_named(ratio=2.0, shape=3.0, mended=12, new=12, sets=SETS)
    assert twelve.count("mend") / SETS > 0.97


def test_the_range_of_the_difference_is_that_of_a_plain_simulation() -> None:
    # One life each: mean lives t / G with G exponential, by drawing them.
    rng = np.random.default_rng(5)
    drawn = 280 * rng.exponential(1.0, 400_000) / 40 - 600 * rng.exponential(1.0, 400_000) / 50
    found = mend_or_buy(Way("mend", 280, [40.0], [True]), Way("buy", 600, [50.0], [True]))
    assert found.cost_per_tonne == (pytest.approx(7.0), pytest.approx(12.0))
    low, high = np.quantile(drawn, [0.025, 0.975])
    assert found.difference.low == pytest.approx(low, rel=0.02)
    assert found.difference.high == pytest.approx(high, rel=0.02)
    assert (found.better, "too close to call" in found.reason) == (None, True)


def test_lives_that_go_on_count_as_longer() -> None:
    buy = Way("buy", 600, [50.0, 52.0, 48.0, 51.0], [True] * 4)
    ended = [30.0, 33.0, 27.0, 31.0]
    without = mend_or_buy(Way("mend", 300, ended, [True] * 4), buy)
    beside = mend_or_buy(Way("mend", 300, [*ended, 40.0, 41.0], [True] * 4 + [False] * 2), buy)
    assert without.cost_per_tonne[0] is not None
    assert beside.cost_per_tonne[0] is not None
    assert beside.cost_per_tonne[0] < 0.9 * without.cost_per_tonne[0]


def test_an_expected_life_stands_in_with_its_spread() -> None:
    mend = Way("mend", 100, [50.0, 51.0, 49.0, 50.5, 52.0], [True] * 5)
    found = mend_or_buy(mend, Way("buy", 600, expected_tonnes=60.0, expected_spread=0.2))
    assert found.cost_per_tonne[1] == pytest.approx(10.0)
    assert found.better == "mend"
    unsure = mend_or_buy(mend, Way("buy", 600, expected_tonnes=200.0, expected_spread=0.8))
    assert unsure.better is None


def test_nothing_known_is_said() -> None:
    found = mend_or_buy(Way("a", 100, [5.0], [False]), Way("b", 102, [10.0], [True]))
    assert (found.better, found.cost_per_tonne[0], found.difference.low) == (None, None, None)
    assert found.reason == "nothing is known of how long this lasts: a"
    with pytest.raises(ValueError, match="above 0"):
        mend_or_buy(Way("a", 100, [0.0], [True]), Way("b", 102, [10.0], [True]))
