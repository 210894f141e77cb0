"""Availability by its definitions: EN 15341 (M10, M12), EN 13306, from memory; no printed example was found.

What stands here are identities that the standards' definitions imply, and figures by hand."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.examples import bounded
from wearlog.calc.availability import availability

HOURS = st.floats(0.01, 1e5)


def test_a_year_by_hand() -> None:
    """900 h of pressing, 40 of planned work, 60 of restoration after six failures: required are 1,000 h."""
    found = availability(operating_h=900, planned_h=40, restoration_h=60, failures=6, restored=6)
    assert found.by_time == pytest.approx(0.90)
    assert found.operational == pytest.approx(0.9375)
    assert found.between_failures_h == pytest.approx(150.0)
    assert found.to_restoration_h == pytest.approx(10.0)


@settings(max_examples=bounded(500, 50))
@given(HOURS, HOURS, HOURS, st.integers(5, 500))
def test_operational_availability_is_that_of_the_mean_times(
    operating: float, planned: float, restoration: float, failures: int
) -> None:
    """MTBF / (MTBF + MTTR), the steady state of IEC 60050-192 (from memory)."""
    found = availability(
        operating_h=operating,
        planned_h=planned,
        restoration_h=restoration,
        failures=failures,
        restored=failures,
    )
    assert found.between_failures_h is not None
    assert found.to_restoration_h is not None
    both = found.between_failures_h + found.to_restoration_h
    assert found.operational == pytest.approx(found.between_failures_h / both)
    assert found.by_time is not None
    assert found.operational is not None
    assert found.by_time <= found.operational


def test_planned_work_lowers_the_availability_by_time_alone() -> None:
    less = availability(operating_h=900, planned_h=0, restoration_h=60, failures=6, restored=6)
    more = availability(operating_h=900, planned_h=300, restoration_h=60, failures=6, restored=6)
    assert less.operational == more.operational
    assert (less.by_time, more.by_time) == (pytest.approx(900 / 960), pytest.approx(900 / 1260))


def test_below_five_failures_there_are_counts_and_no_mean_times() -> None:
    found = availability(operating_h=900, planned_h=0, restoration_h=8, failures=4, restored=4)
    assert (found.failures, found.between_failures_h, found.to_restoration_h) == (4, None, None)


def test_a_press_that_never_ran_has_no_availability() -> None:
    found = availability(operating_h=0, planned_h=5, restoration_h=0, failures=0, restored=0)
    assert (found.by_time, found.operational) == (None, None)


@pytest.mark.parametrize(
    ("operating", "planned", "failures", "restored"),
    [(-1.0, 0.0, 1, 1), (1.0, float("nan"), 1, 1), (1.0, 0.0, 1, 2), (1.0, 0.0, -1, 0)],
)
def test_impossible_numbers_are_refused(
    operating: float, planned: float, failures: int, restored: int
) -> None:
    with pytest.raises(ValueError, match=r"Hours|restorations"):
        availability(
            operating_h=operating,
            planned_h=planned,
            restoration_h=0.0,
            failures=failures,
            restored=restored,
        )
