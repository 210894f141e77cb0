"""Hour meters that are replaced, slips of the pen, and the hours of runs logged by the meter."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.calc.meters import counted_hours, hours_of_runs

H = 3600.0
NOT_SAID = float("nan")


def counted(readings: list[float], new: list[bool] | None = None) -> list[float]:
    flags = np.array(new if new is not None else [False] * len(readings), dtype=bool)
    return counted_hours(np.array(readings, dtype=float), flags).tolist()


def of_runs(
    runs: list[tuple[float, float, float]],
    readings: list[tuple[float, float]],
    new: list[bool] | None = None,
) -> list[float]:
    """Hours of runs (start h, end h, hours) with readings (at h, meter)."""
    table = np.array(runs, dtype=float).reshape(-1, 3)
    meter = np.array(readings, dtype=float).reshape(-1, 2)
    flags = np.array(new if new is not None else [False] * len(readings), dtype=bool)
    return hours_of_runs(
        table[:, 0] * H,
        table[:, 1] * H,
        table[:, 2],
        meter[:, 0] * H,
        counted_hours(meter[:, 1], flags),
        flags,
    ).tolist()


class TestTheCount:
    def test_it_begins_at_nothing_with_the_first_reading(self) -> None:
        assert counted([1200, 1210, 1250]) == [0, 10, 50]

    def test_it_goes_on_from_a_new_meter_s_first_value(self) -> None:
        assert counted([9990, 9998, 3, 10], [False, False, True, False]) == [0, 8, 8, 15]

    def test_a_reading_that_was_too_high_is_held_down_to_the_next(self) -> None:
        # 1100 was meant to be 1010.
        assert counted([1000, 1100, 1020, 1030]) == [0, 20, 20, 30]

    def test_no_reading_counts_nothing(self) -> None:
        assert counted([]) == []

    @given(
        st.lists(st.floats(0, 100), min_size=2, max_size=12),
        st.integers(1, 11),
        st.floats(0, 1e5),
    )
    def test_a_meter_change_keeps_every_hour_before_and_after_it(
        self, gains: list[float], change: int, first_value: float
    ) -> None:
        change = min(change, len(gains) - 1)
        old = np.cumsum([50.0, *gains[:change]])
        new = first_value + np.cumsum([0.0, *gains[change:]])
        readings = [*old.tolist(), *new.tolist()]
        flags = [False] * old.size + [True] + [False] * (new.size - 1)
        count = counted(readings, flags)
        assert count[-1] == pytest.approx(sum(gains), abs=1e-6)
        assert (np.diff(count) >= -1e-9).all()


class TestHoursOfARun:
    def test_what_was_written_down_wins_over_clock_and_meter(self) -> None:
        assert of_runs([(6, 14, 7.25)], [(6, 100), (14, 107)]) == [7.25]

    def test_a_run_logged_by_the_meter_takes_the_difference(self) -> None:
        assert of_runs([(6, 14, NOT_SAID)], [(6, 100), (14, 107.5)]) == [7.5]

    def test_without_a_reading_at_its_end_the_clock_counts(self) -> None:
        assert of_runs([(6, 14, NOT_SAID)], [(6, 100), (15, 107.5)]) == [8]

    def test_without_an_earlier_reading_the_clock_counts(self) -> None:
        assert of_runs([(6, 14, NOT_SAID)], [(14, 107.5), (20, 108)]) == [8]

    def test_a_reading_in_the_middle_of_the_run_does_not_stand_for_its_start(self) -> None:
        assert of_runs([(6, 14, NOT_SAID)], [(5, 100), (10, 103.5), (14, 107)]) == [7]

    def test_hours_of_runs_since_the_earlier_reading_are_theirs(self) -> None:
        # The meter went on by 15 h; 5 h of them were written down for the run of the day before.
        assert of_runs([(6, 12, 5), (30, 41, NOT_SAID)], [(6, 100), (41, 115)]) == [5, 10]

    def test_a_run_that_was_under_way_at_the_earlier_reading_counts_only_behind_it(self) -> None:
        # 4 of its 8 hours lie behind the reading at 10:00; 12 - 4 are left for the second run.
        assert of_runs([(6, 14, 8), (30, 39, NOT_SAID)], [(10, 100), (39, 112)]) == [8, 8]

    def test_a_meter_that_did_not_move_leaves_the_clock(self) -> None:
        assert of_runs([(6, 14, NOT_SAID)], [(6, 100), (14, 100)]) == [8]

    def test_a_new_meter_at_the_end_of_the_run_tells_nothing_of_it(self) -> None:
        assert of_runs([(6, 14, NOT_SAID)], [(6, 100), (14, 3)], [False, True]) == [8]

    def test_a_run_after_a_new_meter_takes_the_difference_from_its_first_value(self) -> None:
        readings = [(0, 9000), (5, 3), (14, 10)]
        assert of_runs([(6, 14, NOT_SAID)], readings, [False, True, False]) == [7]

    def test_several_runs_in_a_row_each_take_their_own_difference(self) -> None:
        runs = [(0, 8, NOT_SAID), (24, 32, NOT_SAID), (48, 56, NOT_SAID)]
        assert of_runs(runs, [(0, 10), (8, 17), (32, 23), (56, 31)]) == [7, 6, 8]
