"""What presses and fittings have worked between two instants. Instants in these tests are hours * 3600."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.calc.exposure import PressTimeline, exposures, timeline_of
from wearlog.calc.meters import hours_of_press

H = 3600.0


def a_press(
    runs: list[tuple[float, float, float, float, int]],
    *,
    shares: dict[str, float] | None = None,
    through: list[str] | None = None,
    meter: tuple[list[float], list[float]] | None = None,
) -> PressTimeline:
    """Runs as (start h, end h, hours, kilograms, crop) of two crops."""
    table = np.array(runs, dtype=float).reshape(-1, 5)
    barrels = ["", *sorted(shares or {})]
    slots = [barrels.index(named) if named in barrels else 0 for named in through or [""] * len(runs)]
    at, meter_h = ([], []) if meter is None else meter
    hours = hours_of_press(
        start=table[:, 0] * H,
        end=table[:, 1] * H,
        recorded_h=table[:, 2],
        slot=np.array(slots, dtype=np.int64),
        at=np.array(at, dtype=float) * H,
        meter_h=np.array(meter_h, dtype=float),
        new_meter=np.zeros(len(at), dtype=np.bool_),
        by_meter=meter is not None,
    )
    return timeline_of(
        hours=hours,
        unlogged=meter is not None,
        start=table[:, 0] * H,
        end=table[:, 1] * H,
        kilograms=table[:, 3],
        crop=table[:, 4].astype(np.int64),
        crops=2,
        shares=shares,
        through=through,
    )


class TestOnePress:
    def test_a_run_wholly_inside_counts_in_full(self) -> None:
        press = a_press([(6, 14, 7.5, 400, 0)])
        assert press.hours(0, 24 * H).tolist() == [7.5]
        assert press.kilograms(0, 24 * H).tolist() == [[400, 0]]

    def test_a_run_that_overlaps_in_part_counts_in_proportion_to_time(self) -> None:
        press = a_press([(6, 14, 7.2, 400, 0)])
        # 2 of 8 clock hours lie before 8:00, 6 after.
        assert press.hours(0, 8 * H) == pytest.approx([1.8])
        assert press.kilograms(8 * H, 99 * H)[0] == pytest.approx([300, 0])

    def test_many_spans_are_answered_at_once(self) -> None:
        press = a_press([(0, 10, 10, 100, 0), (10, 20, 10, 300, 1)])
        seed = press.kilograms(np.array([0, 5, 15]) * H, np.array([5, 15, 25]) * H)
        assert seed == pytest.approx(np.array([[50, 0], [50, 150], [0, 150]]))

    def test_runs_may_come_in_any_order(self) -> None:
        press = a_press([(10, 20, 10, 300, 1), (0, 10, 10, 100, 0)])
        assert press.kilograms(0, 10 * H).tolist() == [[100, 0]]

    def test_a_span_that_ends_before_it_starts_holds_nothing(self) -> None:
        assert a_press([(0, 10, 10, 100, 0)]).kilograms(8 * H, 2 * H).tolist() == [[0, 0]]

    def test_a_press_without_runs_has_worked_nothing(self) -> None:
        press = a_press([])
        assert press.hours(0, 99 * H).tolist() == [0]
        assert press.kilograms(0, 99 * H).tolist() == [[0, 0]]

    def test_a_run_without_length_counts_at_its_instant_and_the_end_of_a_span_excludes_it(self) -> None:
        press = a_press([(5, 5, 0.5, 30, 0)])
        assert press.kilograms(0, 5 * H).tolist() == [[0, 0]]
        assert press.kilograms(5 * H, 6 * H).tolist() == [[30, 0]]
        assert press.hours(5 * H, 6 * H).tolist() == [0.5]

    def test_a_run_without_length_inside_another_leaves_the_rest_of_that_to_come(self) -> None:
        press = a_press([(6, 14, 8, 80, 0), (10, 10, 0.5, 5, 1)])
        assert press.hours(0, 11 * H) == pytest.approx([5.5])
        assert press.kilograms(0, 11 * H)[0] == pytest.approx([50, 5])
        assert press.hours_reached(0, 5) == pytest.approx(10.5 * H)


class TestWhenAnAmountIsReached:
    def test_hours_are_reached_within_a_run_in_proportion(self) -> None:
        press = a_press([(0, 10, 5, 100, 0), (20, 30, 10, 100, 0)])
        assert press.hours_reached(0, 7) == pytest.approx(22 * H)

    def test_the_start_counts_from_the_middle_of_a_run(self) -> None:
        assert a_press([(0, 10, 10, 100, 0)]).kilograms_reached(5 * H, 20) == pytest.approx(7 * H)

    def test_an_amount_that_is_just_reached_is_reached_at_the_end_of_the_run(self) -> None:
        press = a_press([(0, 10, 10, 100, 0), (50, 60, 10, 100, 0)])
        assert press.hours_reached(0, 10) == pytest.approx(10 * H)

    def test_an_amount_not_reached_yet_is_never(self) -> None:
        assert a_press([(0, 10, 10, 100, 0)]).hours_reached(0, 10.01) == float("inf")
        assert a_press([]).kilograms_reached(0, 1) == float("inf")

    def test_a_run_without_length_reaches_at_its_instant(self) -> None:
        press = a_press([(0, 2, 2, 10, 0), (5, 5, 0, 30, 0)])
        assert press.kilograms_reached(0, 25) == 5 * H

    def test_the_barrel_s_own_seed_is_what_counts_on_a_twin(self) -> None:
        press = a_press([(0, 10, 10, 100, 0)], shares={"left": 0.4, "right": 0.6})
        assert press.kilograms_reached(0, 30, "right") == pytest.approx(5 * H)


class TestTwinPress:
    HALF = {"left": 0.5, "right": 0.5}

    def test_kilograms_are_split_by_share_and_hours_are_not(self) -> None:
        press = a_press([(0, 10, 9, 100, 0)], shares={"left": 0.4, "right": 0.6})
        assert press.kilograms(0, 10 * H, "left")[0] == pytest.approx([40, 0])
        assert press.kilograms(0, 10 * H, "right")[0] == pytest.approx([60, 0])
        assert press.hours(0, 10 * H).tolist() == [9]

    def test_a_run_through_one_barrel_gives_it_all_the_seed(self) -> None:
        press = a_press([(0, 10, 10, 100, 0)], shares=self.HALF, through=["right"])
        assert press.kilograms(0, 10 * H, "left").tolist() == [[0, 0]]
        assert press.kilograms(0, 10 * H, "right").tolist() == [[100, 0]]
        assert press.kilograms(0, 10 * H).tolist() == [[100, 0]]

    def test_shares_are_rescaled_to_one_over_the_barrels_that_pressed(self) -> None:
        press = a_press([(0, 10, 10, 90, 0)], shares={"a": 0.2, "b": 0.3, "c": 0.5}, through=["a c"])
        # 0.2 and 0.5 of 0.7.
        assert press.kilograms(0, 10 * H, "a")[0] == pytest.approx([90 * 2 / 7, 0])
        assert press.kilograms(0, 10 * H, "b").tolist() == [[0, 0]]
        assert press.kilograms(0, 10 * H, "c")[0] == pytest.approx([90 * 5 / 7, 0])

    def test_a_position_without_a_barrel_takes_all_of_the_seed(self) -> None:
        press = a_press([(0, 10, 10, 100, 0)], shares=self.HALF)
        assert press.kilograms(0, 10 * H, "gearbox").tolist() == [[100, 0]]

    def test_two_barrels_at_the_same_time_make_the_hours_of_the_busier_one(self) -> None:
        press = a_press([(0, 8, 8, 100, 0), (2, 6, 4, 40, 1)], shares=self.HALF, through=["left", "right"])
        assert press.hours(0, 24 * H) == pytest.approx([8])
        assert press.hours(2 * H, 6 * H) == pytest.approx([4])
        assert press.kilograms(0, 24 * H).tolist() == [[100, 40]]

    def test_barrels_one_after_the_other_add_up_their_hours(self) -> None:
        press = a_press([(0, 8, 7, 100, 0), (8, 12, 3, 40, 1)], shares=self.HALF, through=["left", "right"])
        assert press.hours(0, 24 * H) == pytest.approx([10])


class TestHoursFromTheMeter:
    def test_unlogged_hours_lie_evenly_between_two_readings(self) -> None:
        press = a_press([(0, 5, 5, 100, 0)], meter=([0, 100], [0, 45]))
        # 45 h on the meter and 5 of them in the run: 40 unlogged over 100 h, 10 of them in the first 25.
        assert press.hours(0, 25 * H) == pytest.approx([15])
        assert press.kilograms(0, 25 * H).tolist() == [[100, 0]]

    def test_after_the_last_reading_only_runs_count(self) -> None:
        press = a_press([(0, 20, 20, 100, 0), (120, 130, 9, 100, 0)], meter=([0, 100], [0, 40]))
        assert press.hours(0, 999 * H) == pytest.approx([49])

    def test_a_single_reading_tells_no_hours_so_the_runs_do(self) -> None:
        assert a_press([(0, 5, 4, 100, 0)], meter=([0], [0])).hours(0, 9 * H).tolist() == [4]


class TestFittings:
    def test_each_fitting_takes_what_its_press_and_barrel_did_in_its_time(self) -> None:
        one = a_press([(0, 10, 10, 100, 0)])
        twin = a_press([(0, 10, 10, 200, 1)], shares={"l": 0.5, "r": 0.5})
        found = exposures(
            {7: one, 8: twin},
            np.array([7, 8, 8, 9]),
            ["", "l", "", ""],
            np.array([1.0, 0.5, 0.25, 1.0]),
            np.array([5, 0, 0, 0]) * H,
            np.array([99, 99, 99, 99]) * H,
        )
        assert found.hours == pytest.approx([5, 10, 10, 0])
        assert found.kilograms == pytest.approx(np.array([[50, 0], [0, 100], [0, 50], [0, 0]]))


@st.composite
def presses(draw: st.DrawFn) -> PressTimeline:
    """Runs of whole quarter hours that do not overlap, some through one barrel, some without length."""
    runs, through, clock = [], [], 0
    for _ in range(draw(st.integers(0, 12))):
        clock += draw(st.integers(0, 20))
        length = draw(st.integers(0, 30))
        hours = draw(st.integers(0, 30)) / 4
        runs.append(
            (clock / 4, (clock + length) / 4, hours, draw(st.integers(0, 5000)), draw(st.integers(0, 1)))
        )
        through.append(draw(st.sampled_from(["", "", "l", "r", "l r"])))
        clock += length
    shares = draw(st.sampled_from([{"l": 0.5, "r": 0.5}, {"l": 0.3, "r": 0.7}]))
    meter = None
    if draw(st.booleans()):
        steps = draw(st.lists(st.integers(1, 40), min_size=2, max_size=6))
        gains = draw(st.lists(st.integers(0, 40), min_size=len(steps), max_size=len(steps)))
        meter = (np.cumsum(steps).astype(float).tolist(), np.cumsum(gains).astype(float).tolist())
    return a_press(runs, shares=shares, through=through, meter=meter)


instants = st.floats(-10 * H, 200 * H, allow_nan=False)


class TestPromises:
    @given(presses(), st.lists(instants, min_size=3, max_size=8))
    def test_exposures_add_up_over_adjacent_intervals(self, press: PressTimeline, cuts: list[float]) -> None:
        at = np.array(sorted(cuts))
        for barrel in (None, "l", "r"):
            parts = press.kilograms(at[:-1], at[1:], barrel).sum(axis=0)
            assert parts == pytest.approx(press.kilograms(at[0], at[-1], barrel)[0], abs=1e-6)
        assert press.hours(at[:-1], at[1:]).sum() == pytest.approx(press.hours(at[0], at[-1])[0], abs=1e-6)

    @given(presses(), instants, instants)
    def test_no_exposure_is_negative(self, press: PressTimeline, one: float, other: float) -> None:
        for barrel in (None, "l", "r"):
            assert (press.kilograms(one, other, barrel) >= -1e-6).all()
        assert press.hours(one, other)[0] >= -1e-6

    @given(presses(), instants, instants)
    def test_the_barrels_of_a_twin_share_out_all_of_the_seed(
        self, press: PressTimeline, one: float, other: float
    ) -> None:
        both = press.kilograms(one, other, "l") + press.kilograms(one, other, "r")
        assert both == pytest.approx(press.kilograms(one, other), abs=1e-6)

    @given(presses(), st.lists(instants, min_size=2, max_size=8, unique=True))
    def test_all_parts_of_a_position_together_took_what_the_press_did_while_something_was_fitted(
        self, press: PressTimeline, changes: list[float]
    ) -> None:
        at = np.array(sorted(changes))
        parts = at.size - 1
        for name, barrel in (("", None), ("l", "l")):
            found = exposures({1: press}, np.full(parts, 1), [name] * parts, np.ones(parts), at[:-1], at[1:])
            whole = press.kilograms(at[0], at[-1], barrel)[0]
            assert found.kilograms.sum(axis=0) == pytest.approx(whole, abs=1e-6)
            assert found.hours.sum() == pytest.approx(press.hours(at[0], at[-1])[0], abs=1e-6)

    @given(presses(), instants, st.floats(0, 100 * H), st.floats(0, 100 * H))
    def test_a_flip_moves_no_kilogram_from_one_edge_to_the_other(
        self, press: PressTimeline, fitted: float, before: float, after: float
    ) -> None:
        flip, end = fitted + before, fitted + before + after
        found = exposures(
            {1: press},
            np.array([1, 1]),
            ["r", "r"],
            np.ones(2),
            np.array([fitted, flip]),
            np.array([flip, end]),
        )
        assert found.kilograms[0] == pytest.approx(press.kilograms(fitted, flip, "r")[0], abs=1e-6)
        assert found.kilograms[1] == pytest.approx(press.kilograms(flip, end, "r")[0], abs=1e-6)
        assert found.kilograms.sum(axis=0) == pytest.approx(press.kilograms(fitted, end, "r")[0], abs=1e-6)

    @given(presses(), instants, st.floats(0.01, 20_000))
    def test_when_an_amount_is_reached_that_amount_has_been_worked(
        self, press: PressTimeline, start: float, amount: float
    ) -> None:
        for barrel in (None, "l"):
            at = press.kilograms_reached(start, amount, barrel)
            if at == float("inf"):
                assert press.kilograms(start, 1e9, barrel).sum() < amount
            else:
                # At the instant itself, or just after it where a run without length steps over.
                assert press.kilograms(start, at, barrel).sum() <= amount * (1 + 1e-6) + 1e-6
                assert press.kilograms(start, at + 1e-3, barrel).sum() >= amount * (1 - 1e-6) - 1e-6
