"""Slips of the pen and meters that are replaced: which readings of an hour meter can be believed."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from random import Random

import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from tests.calc.plain_hours import Reading, agree, plain_readings
from wearlog.calc.meters import Believed, clean_edges, hours_of_press
from wearlog.calc.meters.readings import judge

H = 3600.0
DAY = 24 * H
NEW_YEAR = 1767225600.0
NONE = np.zeros(0)

many = settings(max_examples=300, deadline=None)
some = settings(max_examples=100, deadline=None)
chances = st.integers(0, 2**32).map(Random) | st.randoms(use_true_random=False)
"""The first hold more of what is rare, the second shrink."""


def judged(readings: Sequence[Reading]) -> Believed:
    return judge(*columns(readings))


def columns(readings: Sequence[Reading]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return (
        np.array([reading.at for reading in readings], dtype=float),
        np.array([reading.meter_h for reading in readings], dtype=float),
        np.array([reading.new_meter for reading in readings], dtype=bool),
    )


def daily(meter: Sequence[float], new: Sequence[int] = ()) -> list[Reading]:
    """One reading a day; at the places named a new meter begins."""
    return [Reading(place * DAY, value, place in new) for place, value in enumerate(meter)]


def slips(readings: Sequence[Reading]) -> list[int]:
    return np.flatnonzero(~judged(readings).believed).tolist()


def unsaid(readings: Sequence[Reading]) -> list[int]:
    """Where a count begins without a word."""
    return np.flatnonzero(judged(readings).unannounced).tolist()


def advances(readings: Sequence[Reading]) -> list[float]:
    """What the meter went on by between neighbouring readings, on a press without runs."""
    at, meter_h, new_meter = columns(readings)
    found = hours_of_press(
        start=NONE,
        end=NONE,
        recorded_h=NONE,
        slot=np.zeros(0, dtype=np.int64),
        at=at,
        meter_h=meter_h,
        new_meter=new_meter,
        by_meter=False,
    )
    return [round(float(advance), 9) for advance in found.stretches.advance_h]


class TestWithoutDoubt:
    def test_a_meter_that_goes_on_is_believed(self) -> None:
        log = daily([1200, 1210, 1210, 1230])
        assert slips(log) == []
        assert unsaid(log) == []
        assert judged(log).meter.tolist() == [0, 0, 0, 0]
        assert advances(log) == [10, 0, 20]

    def test_no_reading_and_a_single_one_tell_nothing(self) -> None:
        assert slips([]) == []
        assert advances([]) == []
        assert slips(daily([1200])) == []
        assert advances(daily([1200])) == []

    def test_a_meter_may_run_ahead_of_the_clock_by_twelve_minutes(self) -> None:
        assert slips(daily([100, 124.2, 148.4])) == []
        assert unsaid(daily([100, 124.2, 148.4])) == []

    def test_a_meter_that_ran_ahead_by_more_was_misread(self) -> None:
        assert slips(daily([100, 124.21, 130, 140])) == [1]

    def test_decimal_numbers_that_round_badly_do_not_make_a_slip(self) -> None:
        assert slips(daily([0.3, 0.1 + 0.2, 0.3])) == []

    def test_a_log_without_runs_and_with_a_new_meter_counts_what_both_advanced(self) -> None:
        log = daily([9990, 9998, 3, 10], new=[2])
        assert slips(log) == []
        assert unsaid(log) == []
        assert judged(log).meter.tolist() == [0, 0, 1, 1]
        assert advances(log) == [8, 7]


class TestSlips:
    def test_one_that_is_too_high_is_left_out(self) -> None:
        # 1100 was meant to be 1010.
        log = daily([1000, 1100, 1020, 1030])
        assert slips(log) == [1]
        assert unsaid(log) == []
        assert advances(log) == [20, 10]

    def test_one_that_is_too_low_is_left_out(self) -> None:
        log = daily([1000, 1010, 102, 1030, 1040])
        assert slips(log) == [2]
        assert unsaid(log) == []
        assert advances(log) == [10, 20, 10]

    @pytest.mark.parametrize("wrong", [(1110, 1120), (102, 103), (1110, 103), (103, 1110)])
    def test_two_in_a_row_are_left_out(self, wrong: tuple[float, float]) -> None:
        log = daily([1000, 1010, *wrong, 1040, 1050, 1060])
        assert slips(log) == [2, 3]
        assert unsaid(log) == []
        assert advances(log) == [10, 30, 10, 10]

    def test_two_with_a_good_one_between_are_left_out(self) -> None:
        assert slips(daily([1000, 1100, 1020, 103, 1040, 1050])) == [1, 3]

    @pytest.mark.parametrize("wrong", [(1900, 1910, 1920), (2, 12, 22)])
    def test_three_in_a_row_are_a_meter_of_their_own(self, wrong: tuple[float, float, float]) -> None:
        log = daily([1000, 1010, 1020, *wrong, 1060, 1070, 1080])
        assert slips(log) == []
        assert unsaid(log) == [3, 6]
        assert judged(log).meter.tolist() == [0, 0, 0, 1, 1, 1, 2, 2, 2]
        assert advances(log) == [10, 10, 10, 10, 10, 10]

    def test_one_or_two_at_the_beginning_are_left_out(self) -> None:
        assert slips(daily([5000, 1010, 1020, 1030])) == [0]
        assert slips(daily([5000, 5010, 1020, 1030, 1040])) == [0, 1]
        assert slips(daily([5, 1010, 1020, 1030])) == [0]

    def test_one_or_two_at_the_end_are_left_out(self) -> None:
        assert slips(daily([1000, 1010, 1020, 103])) == [3]
        assert slips(daily([1000, 1010, 1020, 5030, 5040])) == [3, 4]

    def test_of_two_readings_that_do_not_agree_the_earlier_stands(self) -> None:
        assert slips(daily([1000, 10])) == [1]
        assert slips(daily([10, 1000])) == [1]
        assert slips(daily([1000, 1010, 20, 30])) == [2, 3]

    def test_where_one_of_two_neighbours_is_wrong_and_either_could_be_the_earlier_stands(self) -> None:
        assert slips(daily([1000, 1010, 1030, 1020, 1040])) == [3]


class TestMetersReplacedWithoutAWord:
    def test_a_meter_that_begins_low_and_goes_on_is_another(self) -> None:
        log = daily([8000, 8010, 8020, 0, 8, 16])
        assert slips(log) == []
        assert unsaid(log) == [3]
        assert judged(log).meter.tolist() == [0, 0, 0, 1, 1, 1]
        assert advances(log) == [10, 10, 8, 8]

    def test_so_is_one_that_begins_high(self) -> None:
        log = daily([10, 18, 26, 700, 708, 716])
        assert unsaid(log) == [3]
        assert advances(log) == [8, 8, 8, 8]

    def test_only_its_third_reading_tells_it_from_slips(self) -> None:
        log = daily([8000, 8010, 8020, 8030, 0, 8, 16])
        assert slips(log[:5]) == [4]
        assert slips(log[:6]) == [4, 5]
        assert slips(log) == []
        assert unsaid(log) == [4]

    def test_a_slip_soon_after_it_does_not_hide_the_change(self) -> None:
        # Going on from 40 to 100 would leave out four readings: 50 and 20, 20 and 30.
        log = daily([30, 40, 50, 20, 100, 20, 30])
        assert slips(log) == [4]
        assert unsaid(log) == [3]

    def test_a_meter_that_always_outruns_the_clock_is_no_pile_of_slips(self) -> None:
        # 30 h a day. At either end two may be slips; between them each reading stands for itself.
        log = daily([100 + 30 * day for day in range(9)])
        assert slips(log) == [0, 1, 7, 8]
        assert unsaid(log) == [3, 4, 5, 6]
        assert advances(log) == []

    def test_one_that_outruns_the_clock_between_good_days_is_cut_into_counts(self) -> None:
        log = daily([100, 108, 116, 124, 224, 324, 424, 524, 532, 540, 548])
        assert slips(log) == []
        assert unsaid(log) == [4, 5, 6, 7]
        assert advances(log) == [8, 8, 8, 8, 8, 8]


class TestAnnouncedNewMeters:
    def test_slips_on_both_sides_of_a_new_meter_are_found(self) -> None:
        log = daily([9000, 9010, 902, 3, 110, 23, 33], new=[3])
        assert slips(log) == [2, 4]
        assert unsaid(log) == []
        assert advances(log) == [10, 20, 10]

    def test_the_first_reading_of_a_new_meter_can_be_a_slip(self) -> None:
        log = daily([9000, 9010, 300, 13, 23], new=[2])
        assert slips(log) == [2]
        assert unsaid(log) == []
        assert judged(log).meter.tolist() == [0, 0, 1, 1, 1]
        assert advances(log) == [10, 10]

    def test_readings_on_two_sides_of_a_new_meter_never_make_one_count(self) -> None:
        # Without the flag 9010, 9020 and 9030 would go on as one meter.
        log = daily([9000, 9010, 9020, 9030], new=[2])
        assert judged(log).meter.tolist() == [0, 0, 1, 1]
        assert advances(log) == [10, 10]

    def test_a_new_meter_with_one_reading_is_believed(self) -> None:
        log = daily([9000, 9010, 5, 7000, 7010], new=[2, 3])
        assert slips(log) == []
        assert judged(log).meter.tolist() == [0, 0, 1, 2, 2]

    def test_a_new_meter_may_be_the_first_reading(self) -> None:
        log = daily([3, 10, 500, 24], new=[0])
        assert slips(log) == [2]
        assert advances(log) == [7, 14]

    @some
    @given(
        st.lists(st.floats(0, 24), min_size=2, max_size=12),
        st.integers(1, 11),
        st.floats(0, 1e5),
    )
    def test_a_change_of_meters_keeps_every_hour_before_and_after_it(
        self, gains: list[float], change: int, first_value: float
    ) -> None:
        change = min(change, len(gains) - 1)
        old = np.cumsum([50.0, *gains[:change]]).tolist()
        new = (first_value + np.cumsum([0.0, *gains[change:]])).tolist()
        log = daily([*old, *new], new=[len(old)])
        assert sum(advances(log)) == pytest.approx(sum(gains), abs=1e-6)
        assert all(advance >= -1e-6 for advance in advances(log))


class TestFarApart:
    CLEAN = [1000 + 10.0 * day for day in range(30)]

    def test_two_places_far_apart_are_judged_apart(self) -> None:
        both, early, late = list(self.CLEAN), list(self.CLEAN), list(self.CLEAN)
        both[4] = early[4] = 104
        both[20:22] = late[20:22] = [9000, 9010]
        assert slips(daily(early)) == [4]
        assert slips(daily(late)) == [20, 21]
        assert slips(daily(both)) == [4, 20, 21]

    def test_two_places_near_each_other_are_judged_together(self) -> None:
        # After 1022 two readings are too low, and only the first of them falls; soon after one is too high.
        meter = [1000, 1020, 1021, 1022, 1010, 1015, 1025, 1030, 1035, 1500, 1045, 1055]
        assert slips(daily(meter)) == [4, 5, 9]
        assert slips(daily(meter[:9])) == [4, 5]
        assert slips(daily([*meter[:8], 1500, *meter[8:]])) == [4, 5, 8, 10]

    def test_a_slip_stays_one_whatever_follows_after_enough_good_readings(self) -> None:
        log = [1000, 1010, 1030, 1020, *(1040 + 10.0 * day for day in range(9))]
        assert slips(daily(log)) == [3]
        assert slips(daily([*log, 5])) == [3, 13]
        assert slips(daily([*log, 5, 6, 7])) == [3]
        assert slips(daily([*log, 9000, 1, 9010])) == [3, 14]

    @many
    @given(chances)
    def test_behind_clean_edges_a_part_of_the_log_tells_what_the_whole_log_tells(
        self, random: Random
    ) -> None:
        log = some_readings(random, 40, disorder=0.06)
        first = random.randrange(0, 25)
        last = random.randrange(first + 10, 41)
        part = log[first:last]
        clean_before, clean_after = clean_edges(*columns(part))
        event(f"clean edges: {clean_before + clean_after}")
        inner = slice(3 if clean_before else 0, -3 if clean_after else None)
        if (first and not clean_before) or (last < 40 and not clean_after):
            return
        whole, found = judged(log), judged(part)
        assert whole.believed[first:last][inner].tolist() == found.believed[inner].tolist()
        assert whole.unannounced[first:last][inner].tolist() == found.unannounced[inner].tolist()
        steps = np.diff(whole.meter[first:last][inner])
        assert steps.tolist() == np.diff(found.meter[inner]).tolist()


def some_readings(random: Random, count: int, *, disorder: float) -> list[Reading]:
    """Readings of a meter that is misread, replaced with and without a word, and runs ahead."""
    log: list[Reading] = []
    at, meter = NEW_YEAR, random.randrange(20_000) / 10
    for _ in range(count):
        clock = random.choice((0.5, 2.0, 8.0, 24.0, 24.0, 72.0))
        at += clock * H
        meter += random.choice((0.0, 0.3, 0.5, 1.0)) * clock
        new, wild = False, 0.0
        if random.random() < disorder:
            turn = random.choice(("slip", "slip", "slip", "ahead", "replaced", "new"))
            if turn == "slip":
                wild = random.choice((-100.0, 100.0, 1000.0, 24.0, -24.0, 0.5))
            elif turn == "ahead":
                meter += clock + random.choice((0.2, 0.21, 5.0))
            else:
                meter, new = random.choice((0.0, 3.5, meter + 50.0)), turn == "new"
        log.append(Reading(at, max(0.0, round(meter + wild, 2)), new))
    return log


class TestWhateverWasRead:
    @many
    @given(chances, st.sampled_from([0.1, 0.3, 0.7]))
    def test_no_way_to_put_readings_in_order_costs_less(self, random: Random, disorder: float) -> None:
        log = some_readings(random, random.randrange(0, 13), disorder=disorder)
        found, plain = judged(log), plain_readings(log)
        event(f"slips: {min(3, int((~found.believed).sum()))}, unsaid: {int(found.unannounced.sum() > 0)}")
        assert found.believed.tolist() == list(plain.believed)
        assert found.unannounced.tolist() == list(plain.unannounced)
        assert found.meter.tolist() == list(plain.meter)

    @many
    @given(
        st.lists(
            st.tuples(st.integers(1, 5000), st.integers(0, 500), st.booleans() | st.just(False)), max_size=60
        )
    )
    def test_what_is_believed_of_one_count_neither_falls_nor_outruns_the_clock(
        self, steps: list[tuple[int, int, bool]]
    ) -> None:
        at = np.cumsum([minutes for minutes, _, _ in steps]) * 60.0
        log = [Reading(float(t), value / 10, new) for t, (_, value, new) in zip(at, steps, strict=True)]
        found = judged(log)
        for number in set(found.meter.tolist()):
            of_count = [log[place] for place in np.flatnonzero(found.believed & (found.meter == number))]
            assert all(agree(one, other) for one, other in pairwise(of_count))

    @many
    @given(st.lists(st.tuples(st.integers(1, 5000), st.floats(0, 1), st.booleans()), max_size=60))
    def test_a_log_without_doubt_leaves_nothing_out(self, steps: list[tuple[int, float, bool]]) -> None:
        log, at, meter = [], NEW_YEAR, 500.0
        for minutes, share, new in steps:
            at += minutes * 60.0
            meter = 0.0 if new else meter + share * minutes / 60
            log.append(Reading(at, meter, new))
        found = judged(log)
        assert found.believed.all()
        assert not found.unannounced.any()
        assert found.meter.tolist() == np.cumsum([new for _, _, new in steps]).astype(int).tolist()

    @many
    @given(
        st.lists(st.floats(0, 24), min_size=2, max_size=40),
        st.data(),
        st.floats(75, 1e5) | st.floats(-1e5, -75),
    )
    def test_one_wild_reading_among_daily_ones_is_always_found(
        self, gains: list[float], data: st.DataObject, off: float
    ) -> None:
        clean = [
            Reading(NEW_YEAR + day * DAY, meter)
            for day, meter in enumerate((2e5 + np.cumsum(gains)).tolist())
        ]
        place = data.draw(st.integers(0, len(clean)))
        beside = clean[min(place, len(clean) - 1)]
        wild = Reading(NEW_YEAR + (place - 0.5) * DAY, beside.meter_h + off)
        log = [*clean[:place], wild, *clean[place:]]
        assert slips(log) == [place]
        assert unsaid(log) == []
