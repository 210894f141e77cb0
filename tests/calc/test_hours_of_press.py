"""The hours of a press's runs: worked cases, and what must hold of every log.

Instants of the worked cases are hours; those of the logs made up are seconds, most of them whole minutes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from random import Random

import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from tests.calc.plain_hours import PlainHours, Reading, Run, agree, plain_hours
from wearlog.calc.meters import PressHours, Remark, Source, hours_of_press

H = 3600.0
MINUTE = 60.0
DAY = 24 * H
GOES_ON = None
NOT_SAID = None
NEW_YEAR = 1767225600.0
"""2026 in UTC: seconds are as long here as in a real log."""

many = settings(max_examples=300, deadline=None)
some = settings(max_examples=100, deadline=None)
chances = st.integers(0, 2**32).map(Random) | st.randoms(use_true_random=False)
"""The first hold more of what is rare, the second shrink."""


def worked_out(runs: Sequence[Run], readings: Sequence[Reading], *, by_meter: bool = False) -> PressHours:
    return hours_of_press(
        start=np.array([run.start for run in runs], dtype=float),
        end=np.array([np.nan if run.end is None else run.end for run in runs], dtype=float),
        recorded_h=np.array([np.nan if run.hours_h is None else run.hours_h for run in runs], dtype=float),
        slot=np.array([run.slot for run in runs], dtype=np.int64),
        at=np.array([reading.at for reading in readings], dtype=float),
        meter_h=np.array([reading.meter_h for reading in readings], dtype=float),
        new_meter=np.array([reading.new_meter for reading in readings], dtype=bool),
        by_meter=by_meter,
    )


class Log:
    """A log in hours: runs as (start, end, hours[, slot]), readings as (at, meter[, new meter])."""

    def __init__(self, runs: Sequence[tuple], readings: Sequence[tuple], *, by_meter: bool = False) -> None:
        self.found = worked_out(
            [Run(start * H, None if end is None else end * H, *more) for start, end, *more in runs],
            [Reading(at * H, *more) for at, *more in readings],
            by_meter=by_meter,
        )

    @property
    def own(self) -> list[float]:
        return rounded(self.found.own_h)

    @property
    def shares(self) -> list[float]:
        return rounded(self.found.press_h)

    @property
    def sources(self) -> list[Source]:
        return [Source(source) for source in self.found.source]

    @property
    def remark(self) -> list[Remark]:
        return [Remark(remark) for remark in self.found.remark]

    @property
    def stretches(self) -> list[tuple[float, float, float, float, float]]:
        """(opens, closes, advance, press hours, unlogged) of each stretch that tells something."""
        table = self.found.stretches
        return [
            (float(opens / H), float(closes / H), *rounded([advance, press, unlogged]))
            for opens, closes, advance, press, unlogged, usable in zip(
                table.opens,
                table.closes,
                table.advance_h,
                table.press_h,
                table.unlogged_h,
                table.usable,
                strict=True,
            )
            if usable
        ]


def rounded(hours: Sequence[float] | np.ndarray) -> list[float]:
    return [round(float(h), 9) for h in hours]


class TestWhereHoursComeFrom:
    def test_what_was_written_down_wins_over_clock_and_meter(self) -> None:
        log = Log([(6, 14, 7.25)], [(6, 100), (14, 107)])
        assert log.own == [7.25]
        assert log.sources == [Source.WRITTEN]

    def test_a_run_logged_by_the_meter_takes_what_it_advanced(self) -> None:
        log = Log([(6, 14, NOT_SAID)], [(6, 100), (14, 107.5)])
        assert log.own == [7.5]
        assert log.sources == [Source.METER]
        assert log.remark == [Remark.NOTHING]
        assert log.stretches == [(6, 14, 7.5, 7.5, 0)]

    def test_without_a_reading_at_its_end_the_clock_counts(self) -> None:
        log = Log([(6, 14, NOT_SAID)], [(6, 100), (15, 107.5)])
        assert log.own == [8]
        assert log.sources == [Source.CLOCK]

    def test_without_an_earlier_reading_the_clock_counts(self) -> None:
        log = Log([(6, 14, NOT_SAID)], [(14, 107.5), (20, 108)])
        assert log.own == [8]
        assert log.sources == [Source.CLOCK]
        assert log.found.stretch.tolist() == [-1]

    def test_without_any_reading_the_clock_counts(self) -> None:
        assert Log([(6, 14, NOT_SAID), (20, 22, 1.5)], []).own == [8, 1.5]

    def test_a_press_without_runs_has_no_hours_and_its_meter_tells_what_nobody_logged(self) -> None:
        log = Log([], [(6, 100), (14, 107.5)])
        assert log.own == []
        assert log.stretches == [(6, 14, 7.5, 0, 7.5)]

    def test_several_runs_in_a_row_each_take_their_own_advance(self) -> None:
        runs = [(0, 8, NOT_SAID), (24, 32, NOT_SAID), (48, 56, NOT_SAID)]
        assert Log(runs, [(0, 10), (8, 17), (32, 23), (56, 31)]).own == [7, 6, 8]

    def test_a_run_that_goes_on_has_no_hours_yet(self) -> None:
        log = Log([(6, 14, NOT_SAID), (20, GOES_ON, NOT_SAID)], [(6, 100), (14, 107), (20, 107), (26, 113)])
        assert log.own[0] == 7
        assert np.isnan(log.own[1])
        assert np.isnan(log.shares[1])
        assert log.sources == [Source.METER, Source.GOES_ON]

    def test_no_reading_closes_a_stretch_while_a_run_goes_on(self) -> None:
        log = Log([(20, GOES_ON, NOT_SAID)], [(6, 100), (14, 107), (20, 107), (26, 113)])
        assert log.stretches == [(6, 14, 7, 0, 7), (14, 20, 0, 0, 0)]


class TestWhatLiesBetweenReadings:
    def test_a_reading_in_the_middle_of_a_run_opens_and_closes_nothing(self) -> None:
        log = Log([(6, 14, NOT_SAID)], [(5, 100), (10, 103.5), (14, 107)])
        assert log.own == [7]
        assert log.stretches == [(5, 14, 7, 7, 0)]

    def test_after_a_reading_in_the_middle_of_another_run_there_is_no_earlier_one(self) -> None:
        log = Log([(6, 14, 8), (30, 39, NOT_SAID)], [(10, 100), (39, 112)])
        assert log.own == [8, 9]
        assert log.sources == [Source.WRITTEN, Source.CLOCK]

    def test_hours_of_other_runs_since_the_earlier_reading_are_theirs(self) -> None:
        assert Log([(6, 12, 5), (30, 41, NOT_SAID)], [(6, 100), (41, 115)]).own == [5, 10]

    def test_a_run_back_dated_before_one_logged_by_the_meter_leaves_it_the_rest(self) -> None:
        readings = [(6, 100), (14, 104.5)]
        assert Log([(9, 14, NOT_SAID)], readings).own == [4.5]
        assert Log([(9, 14, NOT_SAID), (6, 8, NOT_SAID)], readings).own == [2.5, 2]
        assert Log([(9, 14, NOT_SAID), (6, 8, 2)], readings).own == [2.5, 2]

    def test_an_idle_night_between_two_readings_belongs_to_no_run(self) -> None:
        log = Log(
            [(6, 14, NOT_SAID), (30, 38, NOT_SAID)],
            [(6, 100), (14, 107), (30, 109), (38, 116)],
        )
        assert log.own == [7, 7]
        assert log.stretches == [(6, 14, 7, 7, 0), (14, 30, 2, 0, 2), (30, 38, 7, 7, 0)]

    def test_hours_on_the_meter_without_a_run_are_unlogged(self) -> None:
        log = Log([(6, 10, 4)], [(5, 100), (20, 110)])
        assert log.stretches == [(5, 20, 10, 4, 6)]

    def test_more_hours_than_the_meter_advanced_leave_none_unlogged(self) -> None:
        assert Log([(6, 14, 8)], [(6, 100), (14, 107)]).stretches == [(6, 14, 7, 8, 0)]


class TestWhatTheMeterLeaves:
    def test_where_other_runs_leave_nothing_the_clock_stands_in_and_it_is_told(self) -> None:
        log = Log([(6, 11, 5), (11, 14, NOT_SAID)], [(6, 100), (14, 105)])
        assert log.own == [5, 3]
        assert log.sources == [Source.WRITTEN, Source.CLOCK]
        assert log.remark == [Remark.NOTHING, Remark.NONE_LEFT]
        assert rounded(log.found.left_h[1:]) == [0]

    def test_a_run_takes_at_most_twelve_minutes_more_than_its_clock_and_the_rest_is_unlogged(self) -> None:
        log = Log([(6, 8, NOT_SAID)], [(0, 100), (8, 105)])
        assert log.own == [2.2]
        assert log.sources == [Source.METER]
        assert log.remark == [Remark.HELD_DOWN]
        assert rounded(log.found.left_h) == [5]
        assert log.stretches == [(0, 8, 5, 2.2, 2.8)]

    def test_just_twelve_minutes_more_than_its_clock_are_not_held_down(self) -> None:
        log = Log([(6, 8, NOT_SAID)], [(0, 100), (8, 102.2)])
        assert log.own == [2.2]
        assert log.remark == [Remark.NOTHING]

    def test_a_meter_that_stood_still_tells_nothing_and_that_is_told(self) -> None:
        log = Log([(6, 14, NOT_SAID)], [(6, 100), (14, 100)])
        assert log.own == [8]
        assert log.sources == [Source.CLOCK]
        assert log.remark == [Remark.STOOD_STILL]
        assert log.stretches == []

    def test_a_meter_that_stood_still_is_told_of_no_run_with_hours_of_its_own(self) -> None:
        log = Log([(6, 14, 8)], [(6, 100), (14, 100)], by_meter=True)
        assert log.own == [8]
        assert log.remark == [Remark.NOTHING]
        assert log.stretches == []

    def test_a_meter_that_stands_still_while_nothing_runs_is_as_it_should_be(self) -> None:
        assert Log([], [(6, 100), (14, 100)]).stretches == [(6, 14, 0, 0, 0)]

    def test_a_meter_that_ran_ahead_of_the_clock_tells_nothing_and_that_is_told(self) -> None:
        # Each pair of readings may pass, 0.2 h ahead of the clock; the three of them are 0.6 h ahead.
        log = Log([(6, 14, NOT_SAID)], [(6, 100), (8, 102.2), (10, 104.4), (14, 108.6)], by_meter=True)
        assert log.own == [8]
        assert log.sources == [Source.CLOCK]
        assert log.remark == [Remark.RAN_AHEAD]
        assert log.stretches == []

    def test_a_new_meter_at_the_end_of_the_run_tells_nothing_of_it(self) -> None:
        log = Log([(6, 14, NOT_SAID)], [(6, 100), (14, 3, True)])
        assert log.own == [8]
        assert log.sources == [Source.CLOCK]
        assert log.found.stretches.opens.size == 0

    def test_a_run_after_a_new_meter_takes_what_that_advanced(self) -> None:
        log = Log([(6, 14, NOT_SAID)], [(0, 9000), (5, 3, True), (14, 10)])
        assert log.own == [7]
        assert log.stretches == [(5, 14, 7, 7, 0)]

    def test_a_new_meter_in_the_middle_of_a_run_leaves_the_clock(self) -> None:
        assert Log([(6, 14, NOT_SAID)], [(6, 9000), (10, 0, True), (14, 4)]).own == [8]

    def test_a_slip_of_the_pen_neither_opens_nor_closes_a_stretch(self) -> None:
        readings = [(0, 100), (6, 701), (14, 107), (30, 109), (38, 116)]
        log = Log([(6, 14, NOT_SAID), (30, 38, NOT_SAID)], readings)
        assert log.own == [7, 7]
        assert [stretch[:2] for stretch in log.stretches] == [(0, 14), (14, 30), (30, 38)]
        assert log.found.readings.believed.tolist() == [True, False, True, True, True]

    def test_a_slip_at_the_end_of_a_run_leaves_it_the_clock(self) -> None:
        log = Log([(6, 14, NOT_SAID)], [(6, 100), (14, 170), (30, 109), (38, 116)])
        assert log.own == [8]
        assert log.sources == [Source.CLOCK]

    def test_of_two_runs_at_one_reading_the_longer_is_logged_by_the_meter(self) -> None:
        log = Log([(6, 14, NOT_SAID), (14, 14 + 1 / 60, NOT_SAID)], [(6, 100), (14, 107)])
        assert log.own == rounded([7 - 1 / 60, 1 / 60])
        assert log.sources == [Source.METER, Source.CLOCK]

    def test_of_two_runs_of_one_length_at_one_reading_neither_is_logged_by_the_meter(self) -> None:
        log = Log(
            [(14 - 1 / 60, 14, NOT_SAID), (14, 14 + 1 / 60, NOT_SAID), (6, 7, NOT_SAID)],
            [(6, 100), (14, 107)],
        )
        assert log.own == rounded([1 / 60, 1 / 60, 1])
        assert log.sources == [Source.CLOCK] * 3


class TestOneMinute:
    """Starts, ends and readings agree within a minute."""

    @pytest.mark.parametrize("off_s", [-60, -59, 0, 59, 60])
    def test_a_reading_one_minute_off_the_end_stands_at_the_end(self, off_s: int) -> None:
        log = Log([(6, 14, NOT_SAID)], [(6, 100), (14 + off_s / H, 107)])
        assert log.own == [7]

    @pytest.mark.parametrize("off_s", [-61, 61])
    def test_a_reading_one_minute_and_a_second_off_the_end_does_not(self, off_s: int) -> None:
        log = Log([(6, 14, NOT_SAID)], [(6, 100), (14 + off_s / H, 107)])
        assert log.own == [8]
        assert log.sources == [Source.CLOCK]

    @pytest.mark.parametrize(("off_s", "hours"), [(-61, 7), (-60, 7), (0, 7), (60, 7), (61, 8)])
    def test_a_reading_up_to_one_minute_after_the_start_stands_before_the_run(
        self, off_s: int, hours: float
    ) -> None:
        log = Log([(6, 14, NOT_SAID)], [(6 + off_s / H, 100), (14, 107)])
        assert log.own == [hours]

    def test_a_run_of_two_minutes_is_never_under_way(self) -> None:
        log = Log([(6, 6 + 2 / 60, NOT_SAID)], [(0, 100), (6 + 1 / 60, 100.5), (9, 101)])
        assert [stretch[:2] for stretch in log.stretches] == [(0, 6 + 1 / 60), (6 + 1 / 60, 9)]

    @pytest.mark.parametrize(("overlap_s", "source"), [(60, Source.METER), (61, Source.CLOCK)])
    def test_runs_that_overlap_by_up_to_one_minute_follow_each_other(
        self, overlap_s: int, source: Source
    ) -> None:
        log = Log(
            [(6, 10, NOT_SAID, 1), (10 - overlap_s / H, 14, NOT_SAID, 2)],
            [(6, 100), (14, 107)],
        )
        assert log.sources == [Source.CLOCK, source]

    def test_runs_that_lie_on_either_side_of_a_reading_share_nothing(self) -> None:
        # One ends 50 s after the reading, the other begins 50 s before it: both agree with it.
        runs = [(6, 10 + 50 / H, NOT_SAID, 1), (10 - 50 / H, 14, NOT_SAID, 2)]
        assert Log(runs, [(6, 100), (10, 104), (14, 108)]).shares == rounded([4 + 50 / H] * 2)
        assert Log(runs, [(6, 100), (14, 108)]).shares == [4, 4]

    @pytest.mark.parametrize("after_start_s", [0, 1, 30, 4 * 3600, 8 * 3600 - 41])
    def test_a_run_of_less_than_one_minute_overlaps_no_other(self, after_start_s: int) -> None:
        begins = 6 + after_start_s / H
        log = Log([(6, 14, NOT_SAID, 1), (begins, begins + 40 / H, 0.01, 2)], [(5, 100), (14, 107)])
        assert log.own == [6.99, 0.01]
        assert log.shares == [6.99, 0.01]
        assert log.sources == [Source.METER, Source.WRITTEN]


class TestScaling:
    """What a press that counts by its meter makes of hours that exceed the advance."""

    def test_written_and_clock_hours_are_scaled_alike(self) -> None:
        runs = [(6, 10, 5), (11, 14, NOT_SAID)]
        readings = [(6, 100), (15, 106)]
        log = Log(runs, readings, by_meter=True)
        # 5 and 3 hours on a meter that advanced by 6.
        assert log.own == [3.75, 2.25]
        assert log.shares == [3.75, 2.25]
        assert log.sources == [Source.METER, Source.METER]
        assert log.remark == [Remark.SCALED, Remark.SCALED]
        assert log.stretches == [(6, 15, 6, 6, 0)]
        assert Log(runs, readings).own == [5, 3]

    def test_a_run_to_which_the_others_left_nothing_is_scaled_with_them(self) -> None:
        log = Log([(6, 11, 5), (11, 14, NOT_SAID)], [(6, 100), (14, 104)], by_meter=True)
        assert log.own == [2.5, 1.5]
        assert log.remark == [Remark.SCALED, Remark.SCALED]

    def test_hours_that_the_advance_covers_stay_and_the_rest_is_unlogged(self) -> None:
        log = Log([(6, 10, 5), (11, 14, NOT_SAID)], [(6, 100), (15, 108.5)], by_meter=True)
        assert log.own == [5, 3]
        assert log.sources == [Source.WRITTEN, Source.CLOCK]
        assert log.stretches == [(6, 15, 8.5, 8, 0.5)]

    def test_runs_outside_every_stretch_stay_as_they_are(self) -> None:
        log = Log([(0, 4, 9), (6, 14, 10), (20, 24, 9)], [(6, 100), (14, 105)], by_meter=True)
        assert log.own == [9, 5, 9]

    def test_a_stretch_is_scaled_by_its_own_runs_alone(self) -> None:
        log = Log([(6, 14, 8), (30, 38, 8)], [(6, 100), (14, 104), (30, 104), (38, 112)], by_meter=True)
        assert log.own == [4, 8]
        assert log.remark == [Remark.SCALED, Remark.NOTHING]

    def test_overlapping_runs_are_scaled_by_what_they_come_to(self) -> None:
        # 4 h and 3 h at once are 4 press hours; the meter saw 3.
        log = Log([(6, 10, 4, 1), (6, 10, 3, 2)], [(6, 100), (10, 103)], by_meter=True)
        assert log.own == [3, 2.25]
        assert log.shares == rounded([12 / 7, 9 / 7])


class TestTwoBarrels:
    def test_hours_at_once_are_those_of_the_busier_barrel_and_shared_in_proportion(self) -> None:
        log = Log([(6, 10, 4, 1), (6, 10, 3, 2)], [])
        assert log.own == [4, 3]
        assert log.shares == rounded([16 / 7, 12 / 7])
        assert log.found.pieces.hours.tolist() == [4]

    def test_which_barrel_is_busier_may_change_from_piece_to_piece(self) -> None:
        # From 6 to 8 the left barrel works 2 of its 4 h, from 8 to 10 it works 2 h and the right one 1 of 4,
        # from 10 to 14 the right one works 3.
        log = Log([(6, 10, 4, 1), (8, 16, 4, 2)], [])
        assert log.own == [4, 4]
        assert log.shares == rounded([3.5, 3.5])
        assert rounded(log.found.pieces.hours) == [2, 2, 3]

    def test_barrels_one_after_the_other_add_up_their_hours(self) -> None:
        log = Log([(0, 8, 7, 1), (8, 12, 3, 2)], [])
        assert log.shares == [7, 3]

    def test_runs_through_one_barrel_count_for_it_both(self) -> None:
        # Left 2 h and 2 h, right 6 h over the same 6 hours: the right one is the busier throughout.
        log = Log([(6, 8, 2, 1), (10, 12, 2, 1), (6, 12, 6, 2)], [])
        assert sum(log.shares) == pytest.approx(6)
        assert log.shares == rounded([1.2, 1.2, 3.6])

    def test_a_run_through_all_barrels_overlaps_no_other(self) -> None:
        assert Log([(6, 8, NOT_SAID), (8, 10, NOT_SAID, 1), (8, 10, 2, 2)], []).shares == [2, 1, 1]

    def test_a_run_through_all_barrels_counts_for_each(self) -> None:
        # No press can do this, and the log refuses it: 4 h through both and 1 h more through the left.
        assert Log([(6, 10, 4), (8, 10, 1, 1), (8, 10, 0.5, 2)], []).shares == rounded(
            [40 / 11, 10 / 11, 5 / 11]
        )

    def test_a_run_that_overlaps_another_is_not_logged_by_the_meter(self) -> None:
        log = Log([(6, 14, NOT_SAID, 1), (8, 14, NOT_SAID, 2)], [(6, 100), (14, 107)])
        assert log.own == [8, 6]
        assert log.sources == [Source.CLOCK, Source.CLOCK]
        assert log.stretches == [(6, 14, 7, 8, 0)]

    def test_overlapping_runs_leave_a_later_one_the_advance_less_their_press_hours(self) -> None:
        log = Log([(6, 10, 4, 1), (6, 10, 3, 2), (10, 14, NOT_SAID)], [(6, 100), (14, 107.5)])
        assert log.own == [4, 3, 3.5]
        assert log.sources == [Source.WRITTEN, Source.WRITTEN, Source.METER]

    def test_a_run_without_length_keeps_its_hours_beside_another(self) -> None:
        log = Log([(6, 10, 4, 1), (8, 8, 1.5, 2)], [])
        assert log.shares == [4, 1.5]

    def test_a_run_beside_one_that_goes_on_keeps_its_hours(self) -> None:
        log = Log([(6, GOES_ON, NOT_SAID, 1), (8, 10, NOT_SAID, 2)], [(5, 100), (10, 104)])
        assert log.shares[1] == 2
        assert log.sources[1] == Source.CLOCK


# --- whatever was logged -------------------------------------------------------------------------------


def some_runs(random: Random, since: float, count: int, *, may_go_on: bool = True) -> list[Run]:
    """Runs through one barrel or all, of which no two through one barrel overlap."""
    free = {1: since, 2: since}
    twin = random.random() < 0.5
    written = random.choice((0.0, 0.3, 1.0))
    # Now and then everything happens within minutes.
    hasty = random.random() < 0.2
    pauses = (0, 0, 1, 30, 59, 60, 61, 95) if hasty else (0, 0, 0, 30, 60, 61, 600, H, 5 * H, 16 * H)
    lengths = (0, 1, 31, 60, 61, 120, 121, 300) if hasty else (H, 2 * H, 4 * H, 8 * H, 8 * H, 9.5 * H, 90, 0)
    runs: list[Run] = []
    for _ in range(count):
        slot = random.choice((0, 1, 2)) if twin else 0
        barrels = (1, 2) if slot == 0 else (slot,)
        earliest = max(free[barrel] for barrel in barrels)
        if earliest == np.inf:
            continue
        start = earliest + random.choice(pauses)
        length = random.choice(lengths)
        if random.random() < 0.2:
            length += random.randrange(3600)
        hours = None
        if random.random() < written:
            hours = random.choice((length / H, round(length / H, 1), length / H * 0.9, 0.0, 0.5, 10.0))
        end = None if may_go_on and random.random() < 0.02 else start + length
        if hours is not None and random.random() < 0.1:
            # Only the hours were written down: the end follows from them.
            end = start + hours * H
        runs.append(Run(start, end, None if end is None else hours, slot))
        for barrel in barrels:
            free[barrel] = np.inf if end is None else end
    random.shuffle(runs)
    return runs


def some_readings(random: Random, runs: Sequence[Run]) -> list[Reading]:
    """Up to twelve readings at starts and ends of runs, nearly there, and between, by a meter with moods."""
    mood = random.choice(("true", "true", "true", "idle", "slow", "eager", "written", "any"))
    at = set()
    for run in runs:
        within = run.start + (2 * H if run.end is None else (run.end - run.start) / 2)
        often = 0.2 if mood == "written" else 0.8
        chances = ((run.start, often / 2), (run.end, often), (within, 0.6 if mood == "eager" else 0.1))
        for moment, chance in chances:
            if moment is not None and random.random() < chance:
                at.add(moment + random.choice((0, 0, 0, 0, 0, 0, 60, -60, 61, -61, 25)))
    if runs and random.random() < 0.5:
        at.add(min(run.start for run in runs) - random.choice((0, 3 * H)))
    disorder = random.choice((0.0, 0.0, 0.1, 0.3))
    meter, last, readings = random.randrange(0, 20_000) / 10, None, []
    for moment in sorted(random.sample(sorted(at), min(len(at), 12))):
        clock = 0.0 if last is None else (moment - last) / H
        meter += 0.0 if last is None else advance(random, runs, last, moment, mood)
        last, new, wild = moment, False, 0.0
        if random.random() < disorder:
            turn = random.choice(("slip", "slip", "slip", "new", "replaced"))
            if turn == "slip":
                wild = random.choice((-100.0, 100.0, 1000.0, clock, -clock, 0.5))
            else:
                meter, new = random.choice((0.0, 3.5, meter + 50.0)), turn == "new"
        readings.append(Reading(moment, max(0.0, round(meter + wild, 2)), new))
    return readings


def advance(random: Random, runs: Sequence[Run], since: float, until: float, mood: str) -> float:
    """What the meter goes on by between two instants."""
    clock = (until - since) / H
    mood = random.choice(("true", "idle", "slow", "eager", "still")) if mood == "any" else mood
    pressed = sum(max(0.0, min(until, run.end or until) - max(since, run.start)) for run in runs) / H
    written = sum(run.hours_h or 0.0 for run in runs if run.end is not None and since < run.end <= until)
    return {
        "true": round(min(pressed, clock), 1),
        "idle": pressed + 0.6 * max(clock - pressed, 0.0),
        "slow": 0.8 * pressed,
        "eager": clock + 0.2,
        "still": 0.0,
        "written": min(written, clock),
    }[mood]


def a_log(random: Random) -> tuple[list[Run], list[Reading]]:
    runs = some_runs(random, NEW_YEAR, random.randrange(0, 9))
    return runs, some_readings(random, runs)


logs = chances.map(a_log)
LogOfPress = tuple[list[Run], list[Reading]]


def record_events(found: PressHours) -> None:
    """Count for the statistics of hypothesis what the log held."""
    for source, remark in zip(found.source, found.remark, strict=True):
        event(f"{Source(source).name.lower()}, {Remark(remark).name.lower()}")


def same_bits(one: PressHours, other: PressHours, rows: Sequence[int], others: Sequence[int]) -> bool:
    return all(
        np.array_equal(getattr(one, name)[rows], getattr(other, name)[others], equal_nan=name[-2:] == "_h")
        for name in ("own_h", "press_h", "source", "remark", "left_h")
    )


def assert_as_plain(found: PressHours, plain: PlainHours) -> None:
    def column(name: str) -> np.ndarray:
        return np.array([getattr(run, name) for run in plain.runs], dtype=float)

    for name in ("source", "remark", "stretch"):
        assert getattr(found, name).tolist() == column(name).tolist(), name
    for name in ("own_h", "press_h", "left_h"):
        assert np.allclose(getattr(found, name), column(name), rtol=0, atol=1e-9, equal_nan=True), name
    assert found.readings.believed.tolist() == list(plain.readings.believed)
    assert found.readings.unannounced.tolist() == list(plain.readings.unannounced)
    for name in ("opens", "closes", "usable"):
        assert getattr(found.stretches, name).tolist() == [getattr(s, name) for s in plain.stretches], name
    for name in ("advance_h", "press_h", "unlogged_h"):
        expected = [getattr(stretch, name) for stretch in plain.stretches]
        assert np.allclose(getattr(found.stretches, name), expected, rtol=0, atol=1e-9), name
    cuts = sorted({moment for piece in plain.pieces for moment in (piece.start, piece.end)})
    for moment in [(one + other) / 2 for one, other in pairwise([*cuts, NEW_YEAR + 1e9])]:
        expected = sum(hours_before(moment, piece.start, piece.end, piece.hours) for piece in plain.pieces)
        pieces = zip(found.pieces.start, found.pieces.end, found.pieces.hours, strict=True)
        assert sum(hours_before(moment, *piece) for piece in pieces) == pytest.approx(expected, abs=1e-6)


def hours_before(moment: float, start: float, end: float, hours: float) -> float:
    if end <= moment or start >= moment:
        return hours if end <= moment else 0.0
    return hours * (moment - start) / (end - start)


class TestWhateverWasLogged:
    @settings(max_examples=600, deadline=None)
    @given(logs, st.booleans())
    def test_the_hours_are_those_of_the_plain_rule(self, log: LogOfPress, by_meter: bool) -> None:
        runs, readings = log
        found = worked_out(runs, readings, by_meter=by_meter)
        record_events(found)
        assert_as_plain(found, plain_hours(runs, readings, by_meter=by_meter))

    def test_logs_made_up_hold_every_source_and_everything_there_is_to_tell(self) -> None:
        held: Counter[str] = Counter()
        for seed in range(1500):
            runs, readings = a_log(Random(seed))
            found = worked_out(runs, readings, by_meter=seed % 2 == 0)
            assert_as_plain(found, plain_hours(runs, readings, by_meter=seed % 2 == 0))
            held.update(Source(source).name for source in found.source)
            held.update(Remark(remark).name for remark in found.remark)
            held["a slip"] += int((~found.readings.believed).sum())
            held["a meter replaced without a word"] += int(found.readings.unannounced.sum())
            held["a new meter"] += sum(reading.new_meter for reading in readings)
            held["a reading under way"] += int(found.readings.believed.sum()) - found.bounds.size
            held["runs at once"] += int((found.press_h < found.own_h - 0.01).sum())
            held["unlogged hours"] += int((found.stretches.unlogged_h > 0.01).sum())
        names = [*Source.__members__, *Remark.__members__, "a slip", "a meter replaced without a word"]
        names += ["a new meter", "a reading under way", "runs at once", "unlogged hours"]
        assert not {name: held[name] for name in names if held[name] < 10}

    @many
    @given(logs)
    def test_press_hours_and_unlogged_ones_are_the_advance_where_the_press_counts_by_its_meter(
        self, log: LogOfPress
    ) -> None:
        found = worked_out(*log, by_meter=True)
        table = found.stretches
        for number in np.flatnonzero(table.usable):
            pressed = found.press_h[found.stretch == number].sum()
            assert pressed == pytest.approx(table.press_h[number], abs=1e-6)
            assert pressed + table.unlogged_h[number] == pytest.approx(table.advance_h[number], abs=1e-6)

    @some
    @given(logs)
    def test_where_the_press_goes_by_its_runs_no_hour_follows_the_meter_but_what_it_logged(
        self, log: LogOfPress
    ) -> None:
        found = worked_out(*log)
        for run, own, source, left in zip(log[0], found.own_h, found.source, found.left_h, strict=True):
            if source == Source.WRITTEN:
                assert own == run.hours_h
            elif source == Source.CLOCK:
                assert own == run.clock_h
            elif source == Source.METER:
                assert own == pytest.approx(min(left, run.clock_h + 0.2), abs=2e-6)

    @many
    @given(chances)
    def test_where_each_run_is_logged_by_the_meter_it_does_not_matter_what_the_press_counts_by(
        self, random: Random
    ) -> None:
        runs, readings = a_log_by_the_meter(random)
        by_runs = worked_out(runs, readings)
        assert (by_runs.source == Source.METER).all()
        by_meter = worked_out(runs, readings, by_meter=True)
        everything = range(len(runs))
        assert same_bits(by_runs, by_meter, everything, everything)
        for name in ("opens", "closes", "advance_h", "press_h", "unlogged_h", "usable"):
            assert np.array_equal(getattr(by_runs.stretches, name), getattr(by_meter.stretches, name))

    @many
    @given(logs, st.booleans(), chances)
    def test_the_order_of_the_runs_changes_no_digit(
        self, log: LogOfPress, by_meter: bool, shuffle: Random
    ) -> None:
        runs, readings = log
        order = list(range(len(runs)))
        shuffle.shuffle(order)
        usual = worked_out(runs, readings, by_meter=by_meter)
        other = worked_out([runs[place] for place in order], readings, by_meter=by_meter)
        assert same_bits(usual, other, order, range(len(runs)))
        assert usual.stretch[order].tolist() == other.stretch.tolist()
        for name in ("start", "end", "hours"):
            assert np.array_equal(getattr(usual.pieces, name), getattr(other.pieces, name))

    @many
    @given(logs, st.booleans())
    def test_no_hours_are_negative_and_no_share_is_more_than_the_run_s_own(
        self, log: LogOfPress, by_meter: bool
    ) -> None:
        found = worked_out(*log, by_meter=by_meter)
        ended = found.source != Source.GOES_ON
        assert (found.own_h[ended] >= 0).all()
        assert (found.press_h[ended] >= 0).all()
        assert (found.press_h[ended] <= found.own_h[ended] + 1e-9).all()
        assert np.isnan(found.own_h[~ended]).all()
        assert (found.stretches.unlogged_h >= 0).all()
        assert (found.pieces.hours >= 0).all()

    @many
    @given(logs, st.booleans())
    def test_pieces_add_up_to_the_press_hours_and_hardly_overlap(
        self, log: LogOfPress, by_meter: bool
    ) -> None:
        found = worked_out(*log, by_meter=by_meter)
        pieces = found.pieces
        assert pieces.hours.sum() == pytest.approx(np.nansum(found.press_h), abs=1e-9)
        spans = sorted(zip(pieces.start, pieces.end, strict=True))
        for place, (_, end) in enumerate(spans):
            for start, other in spans[place + 1 :]:
                # Two runs may each be a minute off the reading between them.
                assert min(end, other) - start <= 2 * MINUTE

    @some
    @given(logs)
    def test_a_run_s_hours_on_a_press_with_one_barrel_are_its_share(self, log: LogOfPress) -> None:
        runs = sorted((replace(run, slot=0) for run in log[0]), key=lambda run: run.start)
        apart = [
            run
            for place, run in enumerate(runs)
            if all(other.end is not None and other.end <= run.start for other in runs[:place])
        ]
        found = worked_out(apart, log[1])
        assert np.array_equal(found.own_h, found.press_h, equal_nan=True)


def a_log_by_the_meter(random: Random) -> LogOfPress:
    """Runs one after the other, none with hours, each with a reading at its end and enough left for it."""
    runs, readings = [], [Reading(NEW_YEAR, 1000.0)]
    meter, clock = 1000.0, NEW_YEAR
    for _ in range(random.randrange(1, 8)):
        if random.random() < 0.4:
            clock += random.choice((300, H, 9 * H))
            meter += random.choice((0.0, 0.1, 0.25))
            if random.random() < 0.5 and clock > readings[-1].at + 300:
                readings.append(Reading(clock - 120, meter))
        length = random.choice((0.5, 1, 2, 8, 8.25)) * H
        runs.append(Run(clock, clock + length, None, random.choice((0, 1, 2))))
        clock += length
        meter = round(meter + max(0.1, random.choice((0.5, 0.9, 1.0)) * length / H), 2)
        readings.append(Reading(clock + random.choice((-60, 0, 0, 0, 17, 60)), meter))
    random.shuffle(runs)
    return runs, readings


class TestFarAway:
    """What lies behind enough readings that agree changes no digit."""

    @many
    @given(chances, st.booleans())
    def test_a_part_of_the_log_gives_the_hours_that_the_whole_log_gives(
        self, random: Random, by_meter: bool
    ) -> None:
        before = some_runs(random, NEW_YEAR, 5, may_go_on=False)
        read_before = some_readings(random, before)
        edge, at_the_edge = a_clean_edge(random, after=latest(before, read_before))
        inside = some_runs(random, edge[-1].at + 4 * H, 6, may_go_on=False)
        read_inside = some_readings(random, inside)
        far_edge, at_the_far_edge = a_clean_edge(random, after=latest(inside, [*edge, *read_inside]))
        after = some_runs(random, far_edge[-1].at + 4 * H, 5)
        read_after = some_readings(random, after)

        window = [*edge, *read_inside, *far_edge]
        of_window = [*at_the_edge, *inside, *at_the_far_edge]
        whole = worked_out(
            [*after, *of_window, *before], [*read_before, *window, *read_after], by_meter=by_meter
        )
        part = worked_out(of_window, window, by_meter=by_meter)
        upto = worked_out([*before, *of_window], [*read_before, *window], by_meter=by_meter)
        # The three outermost readings of the window may depend on what lies behind them.
        settled = [
            place for place, run in enumerate(of_window) if edge[4].at <= run.end <= far_edge[3].at + MINUTE
        ]
        assert len(settled) >= len(inside)
        assert same_bits(whole, part, [len(after) + place for place in settled], settled)
        assert same_bits(whole, upto, [len(after) + p for p in settled], [len(before) + p for p in settled])
        first = len(after) + len(of_window)
        assert same_bits(whole, upto, range(first, first + len(before)), range(len(before)))
        inner = whole.readings.believed[len(read_before) : len(read_before) + len(window)][3:-3]
        assert inner.tolist() == part.readings.believed[3:-3].tolist()

    @many
    @given(logs, st.booleans(), st.sampled_from([0.0, 3.0, 1e4]))
    def test_a_later_run_and_its_readings_change_nothing_before_them(
        self, log: LogOfPress, by_meter: bool, meter: float
    ) -> None:
        runs, readings = [run for run in log[0] if run.end is not None], log[1]
        readings = [*readings, *a_clean_edge(Random(1), after=latest(runs, readings))[0]]
        usual = worked_out(runs, readings, by_meter=by_meter)
        begins = readings[-1].at + H
        later = Run(begins, begins + 8 * H, None)
        other = worked_out([later, *runs], [*readings, Reading(begins + 8 * H, meter)], by_meter=by_meter)
        assert same_bits(usual, other, range(len(runs)), range(1, len(runs) + 1))


def latest(runs: Sequence[Run], readings: Sequence[Reading]) -> float:
    return max(
        [NEW_YEAR, *(run.start for run in runs), *(run.end or 0 for run in runs), *(r.at for r in readings)]
    )


def a_clean_edge(random: Random, *, after: float) -> tuple[list[Reading], list[Run]]:
    """Eight readings, each of which agrees with the next, and runs that end at them or span the first."""
    meter, at = random.randrange(20_000) / 10, after + random.choice((120, H, DAY))
    edge, runs = [], []
    for number in range(8):
        edge.append(Reading(at, round(meter, 2)))
        if number and random.random() < 0.4:
            runs.append(Run(at - 4 * H, at, random.choice((None, 3.0))))
        meter += random.choice((0.0, 1.5, 4.25))
        at += random.choice((8 * H, DAY))
    if random.random() < 0.3:
        runs.append(Run(edge[0].at - 100, edge[0].at + 2 * H))
    assert all(agree(one, other) for one, other in pairwise(edge))
    return edge, runs
