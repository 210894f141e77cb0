"""Hours per tonne from season to season, and the sentence on what crops explain."""

from __future__ import annotations

import pytest

from tests.mills.run_maker import RunMaker
from wearlog.compare.gap import gap_sentence
from wearlog.compare.grounds import PressFigure
from wearlog.compare.over_seasons import MOST_PRESSES, MOST_SEASONS, OverSeasons
from wearlog.compare.queries import compare


def shown(**chosen: list[str]) -> OverSeasons:
    found = compare(over=True, **chosen).over
    assert found is not None
    return found


def test_each_season_is_given_at_the_crops_that_ran_in_all_of_them(run: RunMaker) -> None:
    run("P1", "flax", "2024-09-01 06:00", hours="5", kg="100")  # 50 h/t
    run("P1", "rape", "2024-10-01 06:00", hours="2", kg="100")  # 20 h/t
    run("P1", "flax", "2025-09-01 06:00", hours="33", kg="600")  # 55 h/t
    run("P1", "rape", "2025-10-01 06:00", hours="2.2", kg="100")  # 22 h/t
    (press,) = shown().presses
    first, second = press.ran
    # as pressed the second season looks much slower, for it had six times as much flax
    assert first.crude == pytest.approx(7 / 0.2)
    assert second.crude == pytest.approx(35.2 / 0.7)
    # of the tonnes of both seasons, 7 in 9 were flax
    assert first.rate == pytest.approx((7 * 50 + 2 * 20) / 9)
    assert second.rate == pytest.approx((7 * 55 + 2 * 22) / 9)
    assert press.on == ("flax", "rape")


def test_the_numbers_are_those_of_the_lines_of_the_comparison(run: RunMaker) -> None:
    run("P1", "flax", "2024-09-01 06:00", hours="5", kg="100")
    run("P1", "rape", "2025-10-01 06:00", hours="2", kg="100")
    run("P2", "rape", "2025-10-01 06:00", hours="3", kg="100")
    lines = {(line.press, line.season): line for line in compare(by=("press", "season")).lines}
    found = {(press.press, one.season): one for press in shown().presses for one in press.ran}
    assert found.keys() == lines.keys()
    for key, line in lines.items():
        assert found[key].crude == pytest.approx(line.hours_per_tonne)
        assert found[key].tonnes * 1000 == pytest.approx(line.seed_kg)


def test_a_season_without_runs_is_a_gap(run: RunMaker) -> None:
    run("P1", "flax", "2023-09-01 06:00", hours="5", kg="100")
    run("P1", "flax", "2025-09-01 06:00", hours="5", kg="100")
    found = shown()
    assert found.names == ("2023/24", "2024/25", "2025/26")
    assert [one is None for one in found.presses[0].seasons] == [False, True, False]


def test_without_a_crop_in_common_a_press_is_given_as_pressed(run: RunMaker) -> None:
    run("P1", "flax", "2024-09-01 06:00", hours="5", kg="100")
    run("P1", "rape", "2025-09-01 06:00", hours="2", kg="100")
    (press,) = shown().presses
    assert press.on == ()
    assert [(one.rate, one.shown) for one in press.ran] == [(None, 50.0), (None, 20.0)]


def test_a_rare_common_crop_does_not_stand_for_the_seasons_of_all(run: RunMaker) -> None:
    for year in (2024, 2025):
        run("P1", "rape", f"{year}-09-01 06:00", hours="20", kg="1000")
        run("P1", "hemp", f"{year}-10-01 06:00", hours="1", kg="10")
        run("P2", "flax", f"{year}-09-01 06:00", hours="50", kg="1000")
        run("P2", "hemp", f"{year}-10-01 06:00", hours="1", kg="10")
    found = shown()
    assert [press.on for press in found.presses] == [("hemp", "rape"), ("flax", "hemp")]
    assert found.on == ()


def test_ranges_come_from_the_weeks_of_the_season(run: RunMaker) -> None:
    for day, hours in (("01", "5"), ("08", "5.5"), ("15", "4.5")):
        run("P1", "flax", f"2025-09-{day} 06:00", hours=hours, kg="100")
    (one,) = shown().presses[0].ran
    assert one.low is not None
    assert one.high is not None
    assert one.low < 50 < one.high
    run("P1", "flax", "2024-09-01 06:00", hours="5", kg="100")
    single = shown().presses[0].ran[0]
    assert (single.rate, single.low, single.high) == (pytest.approx(50), None, None)


def test_purges_and_runs_without_hours_count_in_no_season(run: RunMaker) -> None:
    run("P1", "flax", "2025-09-01 06:00", hours="5", kg="100")
    run("P1", "flax", "2025-09-02 06:00", hours="1", kg="100", purge=True)
    run("P1", "flax", "2025-09-03 06:00", hours="0", kg="100")
    run("P1", "flax", "2025-09-04 06:00", hours="1", kg="100", seed_how="worked_out")
    assert [one.crude for one in shown().presses[0].ran] == [50.0]


def test_the_last_seasons_and_the_presses_that_pressed_most_are_shown(run: RunMaker) -> None:
    for year in range(2014, 2026):
        run("P1", "flax", f"{year}-09-01 06:00", hours="5", kg="100")
    for number in range(2, MOST_PRESSES + 3):
        run(f"P{number}", "flax", "2025-09-01 06:00", hours="5", kg=str(100 + number))
    found = shown()
    assert len(found.names) == MOST_SEASONS
    assert found.names[-1] == "2025/26"
    assert len(found.presses) == MOST_PRESSES
    assert found.more == 2
    assert "P1" in {press.press for press in found.presses}


def test_filters_hold_here_too(run: RunMaker) -> None:
    run("P1", "flax", "2024-09-01 06:00", hours="5", kg="100")
    run("P1", "rape", "2025-09-01 06:00", hours="2", kg="100")
    run("P2", "rape", "2025-09-01 06:00", hours="3", kg="100")
    found = shown(presses=["P1"], crops=["rape"], seasons=["2025/26"])
    assert [(press.press, [one.crude for one in press.ran]) for press in found.presses] == [("P1", [20.0])]


def test_with_no_runs_there_is_nothing(run: RunMaker) -> None:
    assert shown() == OverSeasons((), (), (), 0)


def figure(name: str, crude: float, rate: float | None, half: float | None = 1.0) -> PressFigure:
    bounds = (None, None) if rate is None or half is None else (rate - half, rate + half)
    return PressFigure(
        press=name,
        press_name=name,
        crude=crude,
        standardised=rate,
        low=bounds[0],
        high=bounds[1],
        on=("flax",),
        against="",
        against_name="",
        why="",
    )


def test_the_sentence_says_what_crops_explain_and_what_remains() -> None:
    found = gap_sentence([figure("North", 66.0, 66.9, 3.0), figure("South", 77.0, 72.7, 4.0)])
    # 77 - 66 = 11, 72.7 - 66.9 = 5.8, 11 - 5.8 = 5.2; ranges of 3 and 4 make one of 5
    assert found == (
        "South takes 11.0 h/t more than North. "
        "Its crops explain 5.20 h/t; 5.80 h/t remain at the crops all ran (0.80 to 10.8 h/t)."
    )


@pytest.mark.parametrize(
    ("slow", "said"),
    [
        (
            figure("South", 77.0, 60.0),
            "Its crops explain all of it: at the crops all ran it takes 6.90 h/t less.",
        ),
        (figure("South", 77.0, 80.0, None), "At the crops all ran it takes 13.1 h/t more."),
        (figure("South", 77.0, None), ""),
    ],
)
def test_the_sentence_holds_where_crops_explain_all_or_nothing(slow: PressFigure, said: str) -> None:
    found = gap_sentence([figure("North", 66.0, 66.9), slow])
    assert found == f"South takes 11.0 h/t more than North. {said}".strip()


def test_one_press_has_nobody_to_be_held_against() -> None:
    assert gap_sentence([figure("North", 66.0, 66.9)]) == ""
