"""Repeated work: invariants, coverage, and the edges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.calc.life import UNKNOWN
from wearlog.calc.recurrence import (
    Unit,
    event_rate,
    laplace,
    mean_cumulative,
    mean_range,
    modified_power_law,
    power_law,
    trend_tests,
    unit,
)


@st.composite
def observed(draw: st.DrawFn) -> Unit:
    end = draw(st.floats(min_value=10, max_value=1000))
    shares = draw(st.lists(st.floats(min_value=0.01, max_value=1.0), max_size=8))
    return unit([end * share for share in shares], end)


fleets = st.lists(observed(), min_size=1, max_size=6)


@given(fleet=fleets)
def test_the_mean_function_rises_and_ends_at_the_events_of_units_still_observed(fleet: list[Unit]) -> None:
    points = mean_cumulative(fleet)
    values = [point.value for point in points]
    assert values == sorted(values)
    assert all(point.variance is None or point.variance >= 0 for point in points)
    same_end = [Unit(each.events, 1000.0) for each in fleet]
    events = sum(each.events.size for each in fleet)
    if events:
        assert mean_cumulative(same_end)[-1].value == pytest.approx(events / len(fleet))


@given(fleet=fleets, unit_of_age=st.floats(min_value=1e-3, max_value=1e3))
def test_hours_or_tonnes_give_the_same_shape_and_trend(fleet: list[Unit], unit_of_age: float) -> None:
    scaled = [Unit(each.events * unit_of_age, each.end * unit_of_age) for each in fleet]
    one, other = power_law(fleet), power_law(scaled)
    assert one.reason == other.reason
    if one.shape is not None and one.shape < 50:
        assert other.shape == pytest.approx(one.shape, rel=1e-6)
        assert one.rate is not None
        assert other.rate == pytest.approx(one.rate / unit_of_age**one.shape, rel=1e-5)
    if laplace(fleet) is not None:
        assert laplace(scaled) == pytest.approx(laplace(fleet), abs=1e-9)


@given(fleet=fleets)
def test_the_fit_expects_as_many_events_as_there_were(fleet: list[Unit]) -> None:
    found = power_law(fleet)
    if found.shape is not None and found.rate is not None:
        expected = sum(found.rate * each.end**found.shape for each in fleet)
        assert expected == pytest.approx(found.events, rel=1e-6)
        assert found.shape_range.low is not None
        assert found.shape_range.high is not None
        assert found.shape_range.low < found.shape < found.shape_range.high
        assert found.rate_range.low is not None
        assert found.rate_range.high is not None
        assert found.rate_range.low < found.rate < found.rate_range.high


def simulated(rng: np.random.Generator, shape: float, units: int, equal: bool) -> list[Unit]:
    """Units of a power law with about five events each until 1,000."""
    fleet = []
    for _ in range(units):
        end = 1000.0 if equal else float(rng.uniform(600, 1000))
        count = rng.poisson(5 * (end / 1000) ** shape)
        fleet.append(unit(np.sort(end * rng.random(count) ** (1 / shape)).tolist(), end))
    return fleet


@pytest.mark.parametrize("equal", [True, False])
def test_limits_hold_the_truth_about_as_often_as_they_say(equal: bool) -> None:
    rng = np.random.default_rng(9)
    true_rate = 5 / 1000**1.5
    held = np.zeros(2)
    for _ in range(400):
        found = power_law(simulated(rng, 1.5, 3, equal))
        for place, (span, truth) in enumerate(((found.shape_range, 1.5), (found.rate_range, true_rate))):
            assert span.low is not None
            assert span.high is not None
            held[place] += span.low < truth < span.high
    assert np.all(held / 400 >= 0.92)
    assert np.all(held / 400 <= 0.985)


def test_polishing_that_comes_faster_each_time_is_seen() -> None:
    screw = unit([400, 700, 900, 1050, 1170, 1270, 1350, 1420], 1450)
    z = laplace([screw])
    assert z is not None
    assert z > 1.5
    found = power_law([screw])
    assert found.shape is not None
    assert found.shape > 1.5


def test_a_shape_of_one_has_no_trend_in_laplaces_statistic() -> None:
    assert laplace([unit([25, 50, 75], 100)]) == pytest.approx(0.0)


def test_failure_termination_takes_the_last_event_for_the_end() -> None:
    # By hand: events 10 and 20 before the end at 40; (30 - 2 x 20) / sqrt(2 x 40^2 / 12) = -0.6124.
    polished = unit([10, 20, 40])
    assert polished.end == 40
    assert laplace([polished], terminated="failure") == pytest.approx(-0.612372, abs=1e-6)
    # 3 / (ln 4 + ln 2) = 1.442695.
    found = power_law([polished], terminated="failure")
    assert found.shape == pytest.approx(1.442695, abs=1e-6)


def test_one_event_has_the_exact_rate_and_no_trend() -> None:
    found = power_law([unit([10], 50)])
    assert (found.shape, found.shape_range, found.reason) == (
        None,
        UNKNOWN,
        "one event: no trend can be fitted",
    )
    rate = event_rate([unit([10], 50)])
    # Poisson limits of one event, 0.025318 and 5.571643 (tables of the chi-square), over 50.
    assert (rate.low, rate.high) == pytest.approx((0.025318 / 50, 5.571643 / 50), rel=1e-4)


def test_no_event_bounds_the_rate_by_three_over_the_age() -> None:
    rate = event_rate([unit([], 60), unit([], 40)])
    assert (rate.events, rate.rate, rate.low) == (0, 0.0, 0.0)
    assert rate.high == pytest.approx(3.0 / 100, rel=0.002)
    assert mean_cumulative([unit([], 60)]) == []
    assert laplace([unit([], 60)]) is None


def test_a_single_unit_has_a_mean_function_without_a_range() -> None:
    (point,) = mean_cumulative([unit([10], 50)])
    assert (point.value, point.variance) == (1.0, None)
    assert mean_range(point) == UNKNOWN


def test_a_range_of_the_mean_function_never_lies_below_zero() -> None:
    points = mean_cumulative([unit([10, 11, 12, 13], 50), unit([], 50), unit([40], 50)])
    for point in points:
        span = mean_range(point)
        assert span.low is not None
        assert span.low > 0


def test_too_few_events_have_no_modified_estimate() -> None:
    assert modified_power_law(unit([10, 20], 50)) is None


@pytest.mark.parametrize(
    ("events", "end", "says"),
    [
        ([], None, "needs the end of its observation"),
        ([60.0], 50.0, "An event at 60 lies after the end of observation at 50"),
        ([-1.0], 50.0, "not negative"),
        ([float("nan")], 50.0, "finite"),
        ([], 0.0, "above 0"),
    ],
)
def test_what_is_no_observation_is_refused_with_words(
    events: list[float], end: float | None, says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        unit(events, end)


def test_a_trend_needs_an_event_and_a_power_law_ages_above_zero() -> None:
    with pytest.raises(ValueError, match="at least one event"):
        trend_tests(unit([], 50))
    with pytest.raises(ValueError, match="ages above 0"):
        power_law([unit([0, 10], 50)])


def test_events_all_at_the_end_are_no_shape() -> None:
    assert "no trend" in power_law([unit([50, 50], 50)]).reason
