"""Charts and drift: what they must do at the edges, and how often they cry wolf."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.calc.drift import CAUSES, cusum, ewma, throughput_drift

values = st.lists(st.floats(min_value=-100, max_value=100), min_size=1, max_size=30)


def test_a_value_on_the_limit_is_no_signal_and_a_hair_beyond_is() -> None:
    # Weight 1 makes the average the value itself, and the limit 10 +- 3.
    assert ewma([13.0], target=10, sd=1, weight=1, width=3).alarms == ()
    assert ewma([np.nextafter(13.0, 14)], target=10, sd=1, weight=1, width=3).alarms == (0,)
    assert cusum([13.0], target=10, slack=0, limit=3).alarms == ()
    assert cusum([np.nextafter(13.0, 14)], target=10, slack=0, limit=3).alarms == (0,)


def test_a_gap_changes_neither_the_average_nor_the_limits_after_it() -> None:
    whole = ewma([11.0, 13.0, 12.0], target=10, sd=2, weight=0.5)
    gapped = ewma([11.0, np.nan, 13.0, np.nan, 12.0], target=10, sd=2, weight=0.5)
    assert np.isnan(gapped.ewma[[1, 3]]).all()
    np.testing.assert_array_equal(gapped.ewma[[0, 2, 4]], whole.ewma)
    np.testing.assert_array_equal(gapped.upper[[0, 2, 4]], whole.upper)
    sums = cusum([11.0, np.nan, 13.0], target=10, slack=0.5, limit=9)
    assert sums.high[[0, 2]].tolist() == [0.5, 3.0]


@pytest.mark.parametrize("sd", [0.0, -1.0, float("nan"), float("inf")])
def test_a_standard_deviation_that_can_judge_nothing_is_refused(sd: float) -> None:
    with pytest.raises(ValueError, match="standard deviation must be above 0"):
        ewma([1.0, 2.0], target=1, sd=sd)


@pytest.mark.parametrize(("weight", "width"), [(0, 3), (1.1, 3), (0.2, 0), (0.2, -1)])
def test_a_weight_or_width_that_makes_no_chart_is_refused(weight: float, width: float) -> None:
    with pytest.raises(ValueError, match="must"):
        ewma([1.0], target=1, sd=1, weight=weight, width=width)


def test_an_empty_chart_has_no_alarm() -> None:
    assert ewma([], target=0, sd=1).alarms == ()
    assert cusum([], target=0, slack=0.5, limit=4).alarms == ()


@given(x=values, slack=st.floats(min_value=0, max_value=5))
def test_the_fast_cusum_is_the_sum_that_restarts_at_zero(x: list[float], slack: float) -> None:
    chart = cusum(x, target=0, slack=slack, limit=1)
    high = low = 0.0
    for place, value in enumerate(x):
        high, low = max(0.0, high + value - slack), max(0.0, low - value - slack)
        assert chart.high[place] == pytest.approx(high, abs=1e-9)
        assert chart.low[place] == pytest.approx(low, abs=1e-9)


@given(
    x=values, shift=st.floats(min_value=-1e3, max_value=1e3), scale=st.floats(min_value=0.01, max_value=100)
)
def test_the_unit_of_the_values_does_not_matter(x: list[float], shift: float, scale: float) -> None:
    plain = ewma(x, target=0, sd=1)
    moved = ewma([scale * value + shift for value in x], target=shift, sd=scale)
    np.testing.assert_allclose((moved.ewma - shift) / scale, plain.ewma, atol=1e-6 * (1 + abs(shift) / scale))


def simulated(rng: np.random.Generator, runs: int) -> tuple[np.ndarray, np.ndarray]:
    """Three classes of very different pace, 6 % scatter, no drift."""
    classes = rng.integers(0, 3, runs)
    return np.array([40.0, 30.0, 25.0])[classes] * np.exp(rng.normal(0, 0.06, runs)), classes


def test_classes_of_different_pace_are_not_taken_for_a_drift() -> None:
    # A fast crop for 40 runs, then a slow one for 40.
    rng = np.random.default_rng(1)
    rate = np.concatenate([40 * np.exp(rng.normal(0, 0.03, 40)), 20 * np.exp(rng.normal(0, 0.03, 40))])
    assert throughput_drift(rate, np.repeat([0, 1], 40)).state == "steady"


def test_a_press_without_drift_is_seldom_called_falling() -> None:
    # 176 judged runs each on average; a chart of three standard deviations may err, but not often.
    rng = np.random.default_rng(3)
    wolf = 0
    for _ in range(400):
        found = throughput_drift(*simulated(rng, 200))
        wolf += found.state == "falling"
    assert wolf / 400 < 0.02


def test_a_seventh_less_output_is_seen_within_a_score_of_runs() -> None:
    rng = np.random.default_rng(4)
    late = 0
    for _ in range(300):
        rate, classes = simulated(rng, 120)
        rate[100:] *= 6 / 7
        found = throughput_drift(rate, classes)
        late += found.state != "falling"
    assert late / 300 < 0.05


def test_an_alarm_says_how_much_is_missing_since_when_and_what_to_look_at_in_order() -> None:
    rng = np.random.default_rng(5)
    rate, classes = simulated(rng, 160)
    rate[100:] *= 0.8
    found = throughput_drift(rate, classes)
    assert found.state == "falling"
    assert found.loss == pytest.approx(0.2, abs=0.05)
    assert found.since is not None
    assert 100 <= found.since <= 106
    assert found.causes == CAUSES == ("seed", "settings", "fouling", "wear")


def test_more_output_than_before_is_no_alarm() -> None:
    rng = np.random.default_rng(6)
    rate, classes = simulated(rng, 160)
    rate[100:] *= 1.3
    found = throughput_drift(rate, classes)
    assert found.state == "steady"
    assert found.loss is not None
    assert found.loss < -0.2


def test_a_loss_too_small_to_matter_is_no_alarm_however_sure() -> None:
    rate = 40 * np.exp(np.tile([0.001, -0.001], 100))
    rate[100:] *= 0.97
    assert throughput_drift(rate, np.zeros(200, dtype=int)).state == "steady"
    assert throughput_drift(rate, np.zeros(200, dtype=int), least_loss=0.02).state == "falling"


@pytest.mark.parametrize(
    ("rate", "reason"),
    [
        ([], "no run with a throughput yet"),
        ([0.0, float("nan")], "no run with a throughput yet"),
        ([40.0, 41.0], "at most 2 runs in one class, 8 make a baseline"),
        ([40.0, 41.0] * 4, "no run after the baseline yet"),
        ([40.0] * 20, "same throughput to the last digit"),
    ],
)
def test_too_little_to_judge_by_is_said(rate: list[float], reason: str) -> None:
    found = throughput_drift(rate, np.zeros(len(rate), dtype=int))
    assert found.state == "unknown"
    assert reason in found.reason
    assert found.loss is None


def test_a_gap_among_the_runs_changes_nothing() -> None:
    rng = np.random.default_rng(8)
    rate, classes = simulated(rng, 120)
    rate[90:] *= 0.85
    gapped = throughput_drift(np.insert(rate, 50, np.nan), np.insert(classes, 50, 0))
    assert gapped.loss == throughput_drift(rate, classes).loss


@given(seed=st.integers(0, 10_000), unit=st.floats(min_value=0.01, max_value=100))
def test_pounds_or_kilograms_an_hour_give_the_same_answer(seed: int, unit: float) -> None:
    rate, classes = simulated(np.random.default_rng(seed), 80)
    one, other = throughput_drift(rate, classes), throughput_drift(rate * unit, classes)
    assert (one.state, one.since) == (other.state, other.since)
    assert one.loss is not None
    assert other.loss == pytest.approx(one.loss, abs=1e-9)


def test_the_average_is_the_one_that_scipys_filter_gives() -> None:
    from scipy.signal import lfilter

    ones = np.random.default_rng(7).normal(5, 1, size=500)
    for count in (1, 2, 500):
        for weight in (0.05, 0.2, 1.0):
            chart = ewma(ones[:count], target=4.0, sd=1.0, weight=weight)
            filtered, _ = lfilter([weight], [1, weight - 1], ones[:count], zi=[(1 - weight) * 4.0])
            np.testing.assert_allclose(chart.ewma, filtered, rtol=1e-12)


def test_the_charts_load_none_of_the_parts_of_scipy_that_take_long() -> None:
    told = "import sys, wearlog.calc.drift as d; print([n for n in ('signal', 'stats', 'optimize') "
    told += "if 'scipy.' + n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
