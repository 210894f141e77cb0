"""Models weighed by how they told past limits, and mixed."""

from __future__ import annotations

from dataclasses import replace
from math import exp, log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from wearlog.calc.candidates import CALM, PRESENT, STEPS
from wearlog.calc.choice import ALONE, PRIOR, Told, histories, judged_on, mixed
from wearlog.calc.conformal import FEWEST_EDGES, DayRange, interval_score

ranges = st.tuples(st.floats(0, 500), st.floats(1, 300), st.floats(1, 300)).map(
    lambda drawn: DayRange(early=drawn[0] - drawn[1], mid=drawn[0], late=drawn[0] + drawn[2])
)
weights = st.tuples(*[st.floats(0.05, 1.0)] * 3).map(
    lambda drawn: {name: one / sum(drawn) for name, one in zip(PRIOR, drawn, strict=True)}
)


def about(mid: float, half: float = 10) -> DayRange:
    return DayRange(early=mid - half, mid=mid, late=mid + half)


def finished(number: int, off: dict[str, float]) -> Told:
    """An edge that came on day 200 + its number; each model was off by so many days, at each lead."""
    came = 200.0 + number
    said = {name: about(came + off.get(name, 0.0)) for name in PRIOR}
    return Told(forecasts=tuple((came - lead, said) for lead in (90, 60, 30)), came=came, known_on=came + 1)


def past(count: int, **off: float) -> list[Told]:
    return [finished(number, off) for number in range(count)]


def test_a_mill_without_enough_of_a_past_hears_the_wear_model_alone() -> None:
    assert judged_on(1_000, []).weights == ALONE
    few = judged_on(1_000, past(FEWEST_EDGES - 1, present=50.0))
    assert (few.weights, few.edges) == (ALONE, FEWEST_EDGES - 1)


def test_models_that_told_limits_alike_keep_the_shares_they_begin_with() -> None:
    found = judged_on(230, past(30))
    assert found.weights == pytest.approx({PRESENT: 0.8, CALM: 0.1, STEPS: 0.1})
    assert found.scores == pytest.approx(dict.fromkeys(PRIOR, 20.0))


def test_a_model_that_told_limits_better_is_heard_more_and_a_worse_one_less() -> None:
    found = judged_on(230, past(20, present=15.0, calm=40.0))
    assert found.weights[STEPS] > 0.9
    assert CALM not in found.weights
    assert sum(found.weights.values()) == pytest.approx(1.0)


def test_weights_are_those_of_the_formula() -> None:
    """Twelve edges of which the last is known for a day: each loss by hand."""
    told = past(12, present=12.0, calm=10.5, steps=11.0)
    day = 213.0
    counts = [0.5 ** ((day - (201.0 + number)) / 365) for number in range(12)]
    score = {PRESENT: 20 + 10 * 2.0, CALM: 20 + 10 * 0.5, STEPS: 20 + 10 * 1.0}
    raw = {
        name: prior * exp(-sum(counts) * (log(score[name] + 3) - log(score[PRESENT] + 3)))
        for name, prior in PRIOR.items()
    }
    plain = {name: one / sum(raw.values()) for name, one in raw.items()}
    found = judged_on(day, told)
    assert found.scores == pytest.approx(score)
    for name, share in plain.items():
        assert found.weights.get(name, 0.0) == pytest.approx(share, abs=0.051)


def test_only_edges_known_to_be_finished_before_the_day_count() -> None:
    told = past(20, present=15.0)
    assert judged_on(211, told) == judged_on(211, told[:10])
    assert judged_on(211, told) != judged_on(230, told)
    turned = [*told[:10], *(replace(one, came=one.came and one.came - 60) for one in told[10:])]
    assert judged_on(211, turned) == judged_on(211, told)


def test_an_old_limit_counts_less_than_a_new_one() -> None:
    old, new = past(10, present=15.0), past(10, steps=15.0)
    later = [
        replace(
            one,
            came=(one.came or 0) + 1_000,
            known_on=(one.known_on or 0) + 1_000,
            forecasts=tuple(
                (day + 1_000, {name: about(each.mid + 1_000) for name, each in said.items()})
                for day, said in one.forecasts
            ),
        )
        for one in new
    ]
    assert STEPS not in judged_on(1_300, [*old, *later]).weights


def test_one_limit_missed_by_months_does_not_outweigh_many_told_better() -> None:
    told = [*past(19, present=15.0, calm=15.0), finished(19, {STEPS: 200.0})]
    assert judged_on(230, told).weights[STEPS] > 0.5


@given(st.tuples(ranges, ranges, ranges), weights)
def test_the_mixture_is_that_of_the_distributions(
    drawn: tuple[DayRange, DayRange, DayRange], shares: dict[str, float]
) -> None:
    """Against the sum of two-piece normal distribution functions of scipy, solved for."""
    given_ranges = dict(zip(PRIOR, drawn, strict=True))
    found = mixed(given_ranges, shares)
    tenth = float(stats.norm.ppf(0.9))

    def below(day: float) -> float:
        total = 0.0
        for name, each in given_ranges.items():
            half = each.mid - each.early if day < each.mid else each.late - each.mid
            total += shares[name] * float(stats.norm.cdf(day, each.mid, half / tenth))
        return total

    for chance, day in ((0.1, found.early), (0.5, found.mid), (0.9, found.late)):
        root = optimize.brentq(lambda at, chance=chance: below(at) - chance, -5_000, 5_000)
        assert day == pytest.approx(root, abs=0.02)
    assert min(each.early for each in drawn) <= found.early <= found.mid <= found.late
    assert found.late <= max(each.late for each in drawn)


def test_a_model_alone_is_given_as_it_is_and_one_without_a_range_keeps_silent() -> None:
    own = about(100)
    assert mixed({PRESENT: own, STEPS: about(150)}, ALONE) == own
    assert mixed({PRESENT: own, STEPS: about(150)}, {}) == own
    assert mixed({PRESENT: own}, {PRESENT: 0.5, STEPS: 0.5}) == own
    assert mixed({PRESENT: own}, {STEPS: 1.0}) == own


def test_where_models_differ_the_range_is_as_wide_as_their_quarrel() -> None:
    found = mixed({PRESENT: about(100), STEPS: about(160)}, {PRESENT: 0.5, STEPS: 0.5})
    assert found.early < 100 < found.mid < 160 < found.late


def test_what_would_have_been_given_is_mixed_by_what_was_known_that_day() -> None:
    told = past(40, present=25.0)
    made = histories(told)
    for one, given_then in zip(told, made, strict=True):
        for (day, said), (same_day, given_range) in zip(one.forecasts, given_then.forecasts, strict=True):
            assert day == same_day
            assert given_range == mixed(said, judged_on(day, told).weights)
    assert made[0].forecasts[0][1] == told[0].forecasts[0][1][PRESENT]


def test_the_mixture_scores_better_than_the_wear_model_where_wear_comes_in_steps() -> None:
    """Days drawn from one of two models, told by both: in the end the right one is heard."""
    chance = np.random.default_rng(1)
    told = []
    for number in range(60):
        came = 200.0 + 10 * number
        right, wrong = came - float(chance.normal(0, 20)), came - float(chance.normal(0, 60))
        said = {PRESENT: about(wrong, 30), CALM: about(wrong, 30), STEPS: about(right, 25.6)}
        told.append(
            Told(forecasts=tuple((came - lead, said) for lead in (90, 60, 30)), came=came, known_on=came)
        )
    made = histories(told)

    def score(given_ranges: list[DayRange]) -> float:
        return float(
            np.mean(
                [interval_score(one, each.came or 0) for one, each in zip(given_ranges, told, strict=True)]
            )
        )

    alone = score([one.forecasts[-1][1][PRESENT] for one in told])
    right_one = score([one.forecasts[-1][1][STEPS] for one in told])
    chosen = score([one.forecasts[-1][1] for one in made])
    assert chosen < 0.7 * alone
    assert chosen < 1.4 * right_one
