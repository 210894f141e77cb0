"""What a comparison counts, and what it shows apart."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from tests.dates import at
from tests.mills.run_maker import RunMaker
from wearlog.compare.grounds import ground_words
from wearlog.compare.queries import BadGrouping, compare, parse_by
from wearlog.equipment.models import Press
from wearlog.logbook import demo
from wearlog.people.models import Mill
from wearlog.runs.models import Crop


def test_hours_per_tonne_are_the_sum_of_hours_over_the_sum_of_tonnes(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    run("P1", "flax", "2026-03-02 06:00", hours="10", kg="300")
    (line,) = compare(by=("press",)).lines
    assert (line.runs, line.hours_h, line.seed_kg) == (2, 15.0, 400.0)
    assert line.hours_per_tonne == pytest.approx(37.5)  # 15 h over 0.4 t, not the mean of 50 and 33.3
    assert line.kg_per_h == pytest.approx(26.667, abs=0.001)


def test_lines_are_made_for_each_press_crop_and_season(run: RunMaker) -> None:
    run("P2", "flax", "2025-08-01 06:00", hours="5", kg="100")
    run("P1", "rape", "2025-08-01 06:00", hours="5", kg="100")
    run("P1", "flax", "2025-08-02 06:00", hours="5", kg="100")
    run("P1", "flax", "2024-08-02 06:00", hours="5", kg="100")
    keys = [(line.press, line.crop, line.season) for line in compare().lines]
    assert keys == [
        ("P1", "flax", "2024/25"),
        ("P1", "flax", "2025/26"),
        ("P1", "rape", "2025/26"),
        ("P2", "flax", "2025/26"),
    ]
    assert [line.crop for line in compare(by=("crop",)).lines] == ["flax", "rape"]
    assert [line.season for line in compare(by=("season",)).lines] == ["2024/25", "2025/26"]


def test_presses_stand_in_the_order_of_their_numbers(run: RunMaker) -> None:
    for press in ("P10", "P2", "P1"):
        run(press, "flax", "2025-08-01 06:00", hours="5", kg="100")
    assert [line.press for line in compare(by=("press",)).lines] == ["P1", "P2", "P10"]


def test_a_season_runs_from_july_to_june_in_the_mills_zone(run: RunMaker) -> None:
    # Vienna is two hours ahead of UTC in summer: 22:30 on 30 June UTC is half past midnight on 1 July.
    run("P1", "flax", "2026-06-30 21:30", hours="1", kg="100")
    run("P1", "flax", "2026-06-30 22:30", hours="1", kg="200")
    assert [(line.season, line.seed_kg) for line in compare(by=("season",)).lines] == [
        ("2025/26", 100.0),
        ("2026/27", 200.0),
    ]


def test_a_run_across_the_seasons_border_counts_where_it_started(run: RunMaker) -> None:
    run("P1", "flax", "2026-06-30 12:00", hours="24", kg="100")
    assert [line.season for line in compare(by=("season",)).lines] == ["2025/26"]


def test_the_seasons_start_can_be_chosen(run: RunMaker) -> None:
    run("P1", "flax", "2026-02-01 12:00", hours="1", kg="100")
    assert compare(by=("season",), season_start="01-01").lines[0].season == "2026"
    assert compare(by=("season",), season_start="03-01").lines[0].season == "2025/26"


def test_purge_runs_count_in_no_rate_and_are_shown_apart(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    run("P1", "flax", "2026-03-01 12:00", hours="1", kg="20", purge=True)
    (line,) = compare(by=("press",)).lines
    assert line.hours_per_tonne == pytest.approx(50.0)
    assert (line.purge_runs, line.purge_kg, line.purge_h) == (1, 20.0, 1.0)


def test_seed_without_hours_counts_in_no_rate_and_is_shown_apart(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    run("P1", "flax", "2026-03-02 06:00", hours="0", kg="70")
    (line,) = compare(by=("press",)).lines
    assert line.hours_per_tonne == pytest.approx(50.0)
    assert (line.runs_without_hours, line.seed_without_hours_kg) == (1, 70.0)


def test_seed_worked_out_from_the_usual_rate_counts_in_no_rate_and_is_shown_apart(run: RunMaker) -> None:
    """5 hours for 100 kg are 50 hours a tonne; the run that was worked out would make it 60."""
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    run("P1", "flax", "2026-03-02 06:00", hours="7", kg="100", seed_how="worked_out")
    found = compare(by=("press",))
    (line,) = found.lines
    assert line.hours_per_tonne == pytest.approx(50.0)
    assert (line.runs, line.runs_worked_out, line.seed_worked_out_kg) == (1, 1, 100.0)
    assert found.presses[0].crude == pytest.approx(50.0)


def test_seed_guessed_by_a_person_counts_since_over_a_season_guesses_even_out(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    run("P1", "flax", "2026-03-02 06:00", hours="7", kg="100", seed_how="about")
    (line,) = compare(by=("press",)).lines
    assert line.hours_per_tonne == pytest.approx(60.0)
    assert line.runs_worked_out == 0


def test_a_run_that_goes_on_is_told_and_not_counted(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", kg="100")
    found = compare(by=("press",))
    assert found.lines == []
    assert found.running == 1


def test_a_voided_run_counts_nowhere(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100", voided_at=at("2026-03-02 06:00"))
    found = compare()
    assert (found.lines, found.running) == ([], 0)


def test_oil_yield_is_taken_over_the_runs_whose_oil_was_weighed(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100", oil_kg=Decimal(30))
    run("P1", "flax", "2026-03-02 06:00", hours="5", kg="900")
    (line,) = compare(by=("press",)).lines
    assert line.oil_pct == pytest.approx(30.0)
    assert line.oil_kg == 30.0


def test_no_oil_weighed_is_unknown_and_not_zero(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    (line,) = compare(by=("press",)).lines
    assert (line.oil_kg, line.oil_pct) == (None, None)


def test_hours_without_seed_have_no_rate(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="0")
    (line,) = compare(by=("press",)).lines
    assert line.hours_per_tonne is None
    assert line.kg_per_h == 0.0


def test_the_total_is_the_sum_of_all_lines(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    run("P2", "rape", "2025-03-01 06:00", hours="5", kg="300")
    found = compare()
    assert found.total.seed_kg == sum(line.seed_kg for line in found.lines) == 400.0
    assert found.total.hours_per_tonne == pytest.approx(25.0)


def test_filters_keep_only_what_they_name(run: RunMaker) -> None:
    run("P1", "flax", "2025-08-01 06:00", hours="5", kg="100")
    run("P2", "rape", "2024-08-01 06:00", hours="5", kg="300")
    assert compare(presses=["P1"]).total.seed_kg == 100.0
    assert compare(crops=["rape"]).total.seed_kg == 300.0
    assert compare(seasons=["2024/25"]).total.seed_kg == 300.0
    assert compare(presses=["P1"], crops=["rape"]).lines == []


def test_presses_with_different_crops_are_compared_at_the_common_mix(run: RunMaker) -> None:
    # Both need 20 h a tonne for rape and 40 h for flax; P1 ran mostly rape, P2 mostly flax.
    run("P1", "rape", "2026-03-01 06:00", hours="18", kg="900")
    run("P1", "flax", "2026-03-08 06:00", hours="4", kg="100")
    run("P2", "rape", "2026-03-01 06:00", hours="2", kg="100")
    run("P2", "flax", "2026-03-08 06:00", hours="36", kg="900")
    found = compare(by=("press",))
    assert [(press.press, press.crude, press.standardised) for press in found.presses] == [
        ("P1", pytest.approx(22.0), pytest.approx(30.0)),
        ("P2", pytest.approx(38.0), pytest.approx(30.0)),
    ]
    assert [(share.crop, share.share_pct) for share in found.mix] == [
        ("flax", pytest.approx(50.0)),
        ("rape", pytest.approx(50.0)),
    ]


def test_one_week_of_each_crop_gives_no_range_and_says_why(run: RunMaker) -> None:
    run("P1", "rape", "2026-03-02 06:00", hours="18", kg="900")
    (press,) = compare(by=("press",)).presses
    assert (press.low, press.high) == (None, None)
    assert press.why == "no range: too few weeks to tell"


def test_several_weeks_give_a_range_around_the_figure(run: RunMaker) -> None:
    for week, hours in enumerate(("9", "10", "11", "10")):
        run("P1", "rape", f"2026-03-{2 + 7 * week:02d} 06:00", hours=hours, kg="500")
    (press,) = compare(by=("press",)).presses
    assert press.standardised == pytest.approx(20.0)
    # By hand: rests 0, 1, 1, 0 h over 2 t, variance 4/3 x 2 / 2^2 = 0.6667; Student's t(0.975; 3) = 3.182;
    # 20 x exp(-+ 3.182 x 0.8165 / 20).
    assert press.low == pytest.approx(17.563, abs=0.001)
    assert press.high == pytest.approx(22.775, abs=0.001)


def test_a_crop_that_one_press_never_ran_is_left_out_and_named(run: RunMaker) -> None:
    # Both ran rape: 20 h a tonne on each. Flax is 0.1 t of 1.1 t: 9.1 %.
    run("P1", "rape", "2026-03-01 06:00", hours="18", kg="900")
    run("P1", "flax", "2026-03-08 06:00", hours="4", kg="100")
    run("P2", "rape", "2026-03-01 06:00", hours="2", kg="100")
    found = compare(by=("press",))
    assert [press.standardised for press in found.presses] == [pytest.approx(20.0), pytest.approx(20.0)]
    assert [press.on for press in found.presses] == [("rape",), ("rape",)]
    assert ground_words(found.mix, found.left_out) == "on rape; flax, 9.1 %, left out"
    assert found.pairs == []


def test_several_crops_are_named_as_people_list_them(run: RunMaker) -> None:
    for press in ("P1", "P2"):
        run(press, "rape", "2026-03-01 06:00", hours="18", kg="400")
        run(press, "hemp", "2026-03-03 06:00", hours="18", kg="400")
    run("P1", "flax", "2026-03-05 06:00", hours="18", kg="300")
    run("P2", "poppy", "2026-03-05 06:00", hours="18", kg="100")
    found = compare(by=("press",))
    assert ground_words(found.mix, found.left_out) == (
        "on hemp and rape; flax, 15.0 % and poppy, 5.0 %, left out"
    )


def test_without_a_crop_that_all_ran_each_pair_is_compared_on_its_own(run: RunMaker) -> None:
    # P1 and P2 share rape (20 and 25 h a tonne), P2 and P3 flax (40 and 50), P1 and P3 nothing.
    run("P1", "rape", "2026-03-01 06:00", hours="18", kg="900")
    run("P2", "rape", "2026-03-01 06:00", hours="10", kg="400")
    run("P2", "flax", "2026-03-08 06:00", hours="4", kg="100")
    run("P3", "flax", "2026-03-01 06:00", hours="5", kg="100")
    found = compare(by=("press",))
    assert [(pair.press, pair.other, pair.standardised, pair.other_standardised) for pair in found.pairs] == [
        ("P1", "P2", pytest.approx(20.0), pytest.approx(25.0)),
        ("P2", "P3", pytest.approx(40.0), pytest.approx(50.0)),
    ]
    assert [(press.standardised, press.against, press.on) for press in found.presses] == [
        (pytest.approx(20.0), "P2", ("rape",)),
        (pytest.approx(25.0), "P1", ("rape",)),
        (pytest.approx(50.0), "P2", ("flax",)),
    ]
    assert (found.mix, found.left_out) == ([], [])
    assert ground_words(found.pairs[0].mix, found.pairs[0].left_out) == "on rape; flax, 7.1 %, left out"


def test_a_press_that_shares_no_crop_with_any_other_says_so_and_the_others_are_compared(
    run: RunMaker,
) -> None:
    run("P1", "rape", "2026-03-01 06:00", hours="18", kg="900")
    run("P2", "rape", "2026-03-01 06:00", hours="2", kg="100")
    run("P3", "hemp", "2026-03-01 06:00", hours="5", kg="100")
    alone = compare(by=("press",)).presses[2]
    assert (alone.standardised, alone.why) == (None, "shares no crop with any other press")
    assert alone.crude == pytest.approx(50.0)
    found = compare(by=("press",))
    assert [press.standardised for press in found.presses[:2]] == [pytest.approx(20.0), pytest.approx(20.0)]
    assert ground_words(found.mix, found.left_out) == "on rape; hemp, 9.1 %, left out"


def test_where_most_seed_is_left_out_the_pairs_stand_beside_it(run: RunMaker) -> None:
    for press in ("P1", "P2"):
        run(press, "rape", "2026-03-01 06:00", hours="18", kg="900")
    for press in ("P1", "P2", "P3"):
        run(press, "flax", "2026-03-08 06:00", hours="4", kg="100")
    found = compare(by=("press",))
    assert [press.on for press in found.presses] == [("flax",)] * 3
    assert [(pair.press, pair.other) for pair in found.pairs] == [("P1", "P2"), ("P1", "P3"), ("P2", "P3")]


def test_a_press_without_seed_spoils_no_others_ground(run: RunMaker) -> None:
    run("P1", "rape", "2026-03-01 06:00", hours="18", kg="900")
    run("P2", "rape", "2026-03-01 06:00", hours="2", kg="100")
    run("P3", "rape", "2026-03-01 06:00", hours="2", kg="0")
    presses = compare(by=("press",)).presses
    assert [press.standardised for press in presses] == [pytest.approx(20.0), pytest.approx(20.0), None]
    assert presses[2].why == "no seed on record"


def test_in_the_demo_mill_every_press_has_a_figure(db: None) -> None:
    demo.load(by=None, today=date(2026, 3, 4))
    presses = compare(by=("press",)).presses
    assert len(presses) > 1
    assert all(press.standardised is not None for press in presses)


def test_a_new_run_is_seen_at_once(run: RunMaker) -> None:
    run("P1", "rape", "2026-03-01 06:00", hours="18", kg="900")
    assert compare().total.runs == 1
    run("P1", "rape", "2026-03-02 06:00", hours="18", kg="900")
    assert compare().total.runs == 2


def test_an_empty_log_has_no_lines_and_no_presses(mill: Mill) -> None:
    found = compare()
    assert (found.lines, found.presses, found.mix) == ([], [], [])
    assert found.total.hours_per_tonne is None


def test_a_press_and_a_crop_without_runs_can_be_chosen(mill: Mill) -> None:
    Press.objects.create(code="P1", name="Old one")
    Crop.objects.create(code="flax")
    assert compare().choices == {"press": [("P1", "Old one")], "crop": [("flax", "flax")], "season": []}


def test_an_unknown_grouping_is_refused_with_what_there_is() -> None:
    with pytest.raises(BadGrouping, match="press, crop, season"):
        parse_by("colour")
    with pytest.raises(BadGrouping):
        parse_by("")
    assert parse_by("season, press") == ("press", "season")
