"""Hours, tonnes and days: where counting starts, what counts, and when the interval is over."""

from __future__ import annotations

from datetime import date

import pytest

from tests.mills.forecast_shop import Shop, day, item, items, span


class TestOnePress:
    def test_hours_count_from_the_press_s_beginning_where_no_work_was_logged(self, shop: Shop) -> None:
        shop.rule("grease", "lubricate", every_h=200)
        shop.runs("2026-03-01", 12, hours=10)
        found = item("2026-03-12")
        assert (found.press, found.position, found.part, found.edge) == ("P1", "", "", "")
        assert (found.action, found.trigger, found.basis) == ("lubricate", "hours", "interval")
        assert found.left_h == pytest.approx(80)

    def test_the_last_service_that_names_the_rule_starts_the_count_anew(self, shop: Shop) -> None:
        rule = shop.rule("grease", "lubricate", every_h=200)
        shop.runs("2026-03-01", 12, hours=10)
        shop.serve("2026-03-05 00:00", "inspect", rule=rule)  # another action, but it names the rule
        # Runs of 5 to 12 March: 8 of 10 h.
        assert item("2026-03-12").left_h == pytest.approx(120)

    def test_a_service_that_names_no_rule_counts_where_it_has_the_rule_s_action_and_press(
        self, shop: Shop
    ) -> None:
        shop.rule("grease", "lubricate", every_h=200)
        shop.press("P2")
        shop.runs("2026-03-01", 12, hours=10)
        shop.serve("2026-03-05 00:00", "lubricate")
        shop.serve("2026-03-07 00:00", "clean")
        shop.serve("2026-03-09 00:00", "lubricate", press="P2")
        assert next(one for one in items("2026-03-12") if one.press == "P1").left_h == pytest.approx(120)

    def test_a_service_that_names_another_rule_does_not_count(self, shop: Shop) -> None:
        shop.rule("grease", "lubricate", every_h=200)
        other = shop.rule("oil the gearbox", "lubricate", every_h=500)
        shop.runs("2026-03-01", 12, hours=10)
        shop.serve("2026-03-05 00:00", "lubricate", rule=other)
        assert item("2026-03-12", "grease").left_h == pytest.approx(80)
        assert item("2026-03-12", "oil the gearbox").left_h == pytest.approx(420)

    def test_work_on_a_place_of_the_press_is_work_on_the_press_and_work_on_a_part_is_not(
        self, shop: Shop
    ) -> None:
        shop.rule("grease", "lubricate", every_h=200)
        bearing = shop.part("B1", shop.type("B", "bearing"))
        shop.runs("2026-03-01", 12, hours=10)
        shop.serve("2026-03-05 00:00", "lubricate", position="bearing")
        shop.serve("2026-03-07 00:00", "lubricate", position="bearing", part=bearing)
        assert item("2026-03-12").left_h == pytest.approx(120)

    def test_a_run_across_the_service_counts_in_proportion_to_time(self, shop: Shop) -> None:
        shop.rule("grease", "lubricate", every_h=200)
        shop.run("2026-03-01 06:00", 10, 500)
        shop.serve("2026-03-01 12:00", "lubricate")
        assert item("2026-03-01").left_h == pytest.approx(196)

    def test_hours_written_down_count_and_not_the_clock(self, shop: Shop) -> None:
        shop.rule("grease", "lubricate", every_h=200)
        shop.run("2026-03-01 06:00", 7, 500, ended="2026-03-01 16:00")
        assert item("2026-03-01").left_h == pytest.approx(193)

    def test_a_run_logged_by_the_meter_counts_the_meter_s_difference(self, shop: Shop) -> None:
        shop.rule("grease", "lubricate", every_h=200)
        shop.read("2026-03-01 06:00", 1000)
        shop.run("2026-03-01 06:00", 10, 500, recorded=False)
        shop.read("2026-03-01 16:00", 1008.5)
        assert item("2026-03-01").left_h == pytest.approx(191.5)

    def test_a_press_that_counts_by_its_meter_counts_power_on_hours_and_continues_on_a_new_meter(
        self, shop: Shop
    ) -> None:
        shop.press("P1", hours_from="meter")
        shop.rule("grease", "lubricate", every_h=200)
        shop.run("2026-03-01 06:00", 2, 100)
        shop.read("2026-03-01 00:00", 9950)
        shop.read("2026-03-04 00:00", 9990)
        shop.read("2026-03-04 08:00", 5, new=True)
        shop.read("2026-03-06 00:00", 25)
        assert item("2026-03-06").left_h == pytest.approx(140)

    def test_tonnes_count_the_seed_of_all_crops(self, shop: Shop) -> None:
        shop.rule("check belts", "inspect", every_kg=10_000)
        shop.runs("2026-03-01", 4, kg=500)
        shop.runs("2026-03-05", 4, kg=700, crop="flax")
        found = item("2026-03-08")
        assert (found.trigger, found.left_kg) == ("tonnes", pytest.approx(5200))

    def test_an_interval_that_is_over_has_the_day_on_which_it_was_reached_and_keeps_it(
        self, shop: Shop
    ) -> None:
        shop.rule("grease", "lubricate", every_h=95)
        shop.runs("2026-03-01", 20, hours=10)
        for as_of in ("2026-03-10", "2026-03-20", "2026-06-30"):
            found = item(as_of)
            assert found.due_on == found.early_on == found.late_on == date(2026, 3, 10)
        # 105 h were run since the 95th.
        assert item("2026-03-20").left_h == pytest.approx(-105)
        assert item("2026-03-20").left_days == -10

    def test_days_run_from_the_last_service_s_day(self, shop: Shop) -> None:
        shop.rule("check magnet", "inspect", every_days=30)
        shop.press()
        shop.serve("2026-03-01 23:30", "inspect")
        found = item("2026-03-11")
        assert (found.trigger, found.due_on, found.left_days) == ("days", date(2026, 3, 31), 20)
        assert found.early_on == found.late_on == date(2026, 3, 31)

    def test_days_without_work_run_from_the_day_the_press_was_commissioned(self, shop: Shop) -> None:
        shop.press("P1", commissioned_on=day("2026-02-01"))
        shop.rule("check magnet", "inspect", every_days=30)
        assert item("2026-02-10").due_on == date(2026, 3, 3)

    def test_days_of_a_press_of_which_nothing_is_recorded_are_unknown(self, shop: Shop) -> None:
        shop.press()
        shop.rule("check magnet", "inspect", every_days=30)
        found = item("2026-02-10")
        assert (found.state, found.basis) == ("unknown", "none")
        assert (found.due_on, found.early_on, found.late_on, found.left_days) == (None, None, None, None)

    def test_days_that_end_after_the_calendar_s_last_are_never(self, shop: Shop) -> None:
        shop.press("P1", commissioned_on=day("2026-02-01"))
        shop.rule("check magnet", "inspect", every_days=99_999_999)
        assert (item("2026-02-10").state, item("2026-02-10").due_on) == ("later", None)

    def test_a_rule_for_one_press_makes_no_item_on_another(self, shop: Shop) -> None:
        shop.press("P2")
        shop.rule("grease", "lubricate", every_h=200, press=shop.press("P1"))
        assert [one.press for one in items("2026-03-01")] == ["P1"]

    def test_a_rule_with_a_position_makes_an_item_for_each_press_that_has_it(self, shop: Shop) -> None:
        shop.position("P1", "gearbox")
        shop.position("P2", "gearbox")
        shop.press("P3")
        shop.rule("change oil", "lubricate", position="gearbox", every_h=1000)
        assert [(one.press, one.position) for one in items("2026-03-01")] == [
            ("P1", "gearbox"),
            ("P2", "gearbox"),
        ]

    def test_work_on_another_position_does_not_start_a_position_s_count_anew(self, shop: Shop) -> None:
        shop.position("P1", "gearbox")
        shop.position("P1", "bearing")
        shop.rule("change oil", "lubricate", position="gearbox", every_h=1000)
        shop.runs("2026-03-01", 10, hours=10)
        shop.serve("2026-03-09 00:00", "lubricate", position="bearing")
        shop.serve("2026-03-03 00:00", "lubricate", position="gearbox")
        assert item("2026-03-10").left_h == pytest.approx(920)

    def test_a_press_that_is_retired_has_no_items_from_that_day_on(self, shop: Shop) -> None:
        shop.press("P1", retired_on=day("2026-04-01"))
        shop.rule("grease", "lubricate", every_h=200)
        assert len(items("2026-03-31")) == 1
        assert items("2026-04-01") == []

    def test_a_rule_without_a_trigger_makes_no_item(self, shop: Shop) -> None:
        shop.press()
        shop.rule("look around", "inspect")
        assert items("2026-03-01") == []


class TestParts:
    def test_a_rule_for_a_kind_has_one_item_for_each_fitted_part_of_it(self, shop: Shop) -> None:
        screw, die = shop.type("S", "screw"), shop.type("D", "die")
        shop.fit(shop.part("S1", screw), "2026-03-01")
        shop.fit(shop.part("S2", screw), "2026-03-01", press="P2")
        shop.fit(shop.part("S3", screw), "2026-02-01", "2026-02-20", press="P3")
        shop.fit(shop.part("D1", die), "2026-03-01", position="die")
        shop.part("S4", screw)
        shop.rule("inspect screw", "inspect", kind="screw", every_h=100)
        found = items("2026-03-02")
        assert [(one.press, one.position, one.part) for one in found] == [
            ("P1", "screw", "S1"),
            ("P2", "screw", "S2"),
        ]

    def test_a_rule_for_a_part_type_leaves_other_types_of_the_kind_alone(self, shop: Shop) -> None:
        hard, soft = shop.type("hard", "screw"), shop.type("soft", "screw")
        shop.fit(shop.part("S1", hard), "2026-03-01")
        shop.fit(shop.part("S2", soft), "2026-03-01", press="P2")
        shop.rule("inspect soft screw", "inspect", part_type=soft, every_h=100)
        assert [one.part for one in items("2026-03-02")] == ["S2"]

    def test_a_rule_for_parts_keeps_to_its_press_and_position(self, shop: Shop) -> None:
        screw = shop.type("S", "screw")
        for code, press, position in (
            ("S1", "P1", "worm 1"), ("S2", "P1", "worm 2"), ("S3", "P2", "worm 1"),
        ):  # fmt: skip
            shop.position(press, position, kind="screw")
            shop.fit(shop.part(code, screw), "2026-03-01", press=press, position=position)
        shop.rule("one", "inspect", kind="screw", position="worm 1", every_h=100)
        shop.rule("two", "inspect", kind="screw", press=shop.press("P1"), every_h=100)
        assert [one.part for one in items("2026-03-02", "one")] == ["S1", "S3"]
        assert [one.part for one in items("2026-03-02", "two")] == ["S1", "S2"]

    def test_a_part_counts_from_its_first_fitting_and_takes_its_hours_along(self, shop: Shop) -> None:
        screw = shop.part("S1", shop.type("S", "screw"))
        shop.runs("2026-03-01", 10, hours=10)
        shop.runs("2026-03-01", 10, hours=6, press="P2")
        shop.fit(screw, "2026-03-01", "2026-03-05")  # 4 days of 10 h
        shop.fit(screw, "2026-03-08", press="P2")  # 3 days of 6 h
        shop.rule("inspect", "inspect", kind="screw", every_h=100)
        found = item("2026-03-10")
        assert (found.press, found.left_h) == ("P2", pytest.approx(100 - 40 - 18))

    def test_two_presses_that_swapped_their_screws_keep_each_screw_s_own_count(self, shop: Shop) -> None:
        kind = shop.type("S", "screw")
        one, two = shop.part("S1", kind), shop.part("S2", kind)
        shop.runs("2026-03-01", 4, hours=10)
        shop.runs("2026-03-01", 4, hours=5, press="P2")
        for part, first, second in ((one, "P1", "P2"), (two, "P2", "P1")):
            shop.fit(part, "2026-03-01", "2026-03-04", press=first)  # 3 days
            shop.fit(part, "2026-03-04", press=second)  # 1 day
        shop.rule("inspect", "inspect", kind="screw", every_h=100)
        assert item("2026-03-04", part="S1").left_h == pytest.approx(100 - 30 - 5)
        assert item("2026-03-04", part="S2").left_h == pytest.approx(100 - 15 - 10)

    def test_both_screws_of_a_twin_take_all_the_hours_and_their_share_of_the_seed(self, shop: Shop) -> None:
        kind = shop.type("S", "screw")
        for side, share in (("left", 0.4), ("right", 0.6)):
            shop.position("P1", f"{side} screw", barrel=side, share=share)
            shop.fit(shop.part(f"S-{side}", kind), "2026-03-01", position=f"{side} screw")
        shop.run("2026-03-01 06:00", 10, 1000)
        shop.run("2026-03-02 06:00", 10, 1000, through="left")
        shop.rule("by hours", "inspect", kind="screw", every_h=100)
        shop.rule("by seed", "inspect", kind="screw", every_kg=5000)
        assert [one.left_h for one in items("2026-03-02", "by hours")] == pytest.approx([80, 80])
        assert [one.left_kg for one in items("2026-03-02", "by seed")] == pytest.approx([3600, 4400])

    def test_work_on_the_part_starts_its_count_anew_and_work_on_another_does_not(self, shop: Shop) -> None:
        kind = shop.type("S", "screw")
        one, two = shop.part("S1", kind), shop.part("S2", kind)
        shop.fit(one, "2026-03-01")
        shop.fit(two, "2026-03-01", press="P2")
        shop.runs("2026-03-01", 10, hours=10)
        shop.runs("2026-03-01", 10, hours=10, press="P2")
        rule = shop.rule("polish", "polish", kind="screw", every_h=150)
        shop.serve("2026-03-06 00:00", "polish", part=one)
        shop.serve("2026-03-08 00:00", "inspect", part=two, press="P2", rule=rule)
        shop.serve("2026-03-09 00:00", "inspect", part=two, press="P2")
        assert item("2026-03-10", part="S1").left_h == pytest.approx(100)
        assert item("2026-03-10", part="S2").left_h == pytest.approx(120)

    def test_work_on_a_position_is_work_on_the_part_that_sat_there_then(self, shop: Shop) -> None:
        kind = shop.type("S", "screw")
        old, new = shop.part("S1", kind), shop.part("S2", kind)
        shop.runs("2026-03-01", 10, hours=10)
        shop.fit(old, "2026-03-01", "2026-03-06")
        shop.fit(new, "2026-03-06")
        shop.rule("polish", "polish", kind="screw", every_h=150)
        shop.serve("2026-03-03 00:00", "polish", position="screw")
        assert item("2026-03-10").part == "S2"
        assert item("2026-03-10").left_h == pytest.approx(100)
        shop.serve("2026-03-08 00:00", "polish", position="screw")
        assert item("2026-03-10").left_h == pytest.approx(120)

    def test_work_on_the_press_as_a_whole_counts_for_its_parts_only_where_it_names_the_rule(
        self, shop: Shop
    ) -> None:
        shop.fit(shop.part("S1", shop.type("S", "screw")), "2026-03-01")
        shop.runs("2026-03-01", 10, hours=10)
        rule = shop.rule("inspect screw", "inspect", kind="screw", every_h=150)
        shop.serve("2026-03-06 00:00", "inspect")
        assert item("2026-03-10").left_h == pytest.approx(50)
        shop.serve("2026-03-05 00:00", "inspect", rule=rule)
        assert item("2026-03-10").left_h == pytest.approx(90)

    def test_a_flip_does_not_start_a_part_s_count_anew_for_another_action(self, shop: Shop) -> None:
        die = shop.part("D1", shop.type("D", "die", edges=2))
        shop.fit(die, "2026-03-01", "2026-03-06", edge="A", position="die")
        shop.fit(die, "2026-03-06", edge="B", position="die")
        shop.serve("2026-03-06", "flip", part=die, edge="A", position="die")
        shop.runs("2026-03-01", 10, hours=10)
        shop.rule("clean die", "clean", kind="die", every_h=150)
        found = item("2026-03-10")
        assert (found.edge, found.left_h) == ("B", pytest.approx(50))

    def test_a_part_that_was_retired_has_no_items(self, shop: Shop) -> None:
        screw = shop.part(
            "S1", shop.type("S", "screw"), retired_on=day("2026-03-10"), retired_because="broken"
        )
        shop.fit(screw, "2026-03-01", "2026-03-10 09:00")
        shop.rule("inspect", "inspect", kind="screw", every_h=150)
        assert len(items("2026-03-09")) == 1
        assert items("2026-03-10") == []


class TestDatesAhead:
    def test_the_plan_gives_the_day(self, shop: Shop) -> None:
        shop.rule("check", "inspect", every_kg=3000)
        shop.runs("2026-03-01", 2, kg=500)
        shop.plan("2026-08-10", "2026-08-29", 10_000)  # 500 a day
        found = item("2026-03-02")
        # 2,000 kg left: the fourth planned day.
        assert found.due_on == date(2026, 8, 13)
        assert found.left_days == 164
        early, due, late = span(found)
        assert date(2026, 8, 10) <= early <= due <= late <= date(2026, 8, 29)

    def test_hours_follow_from_the_press_s_own_hours_per_kilogram_of_the_crop(self, shop: Shop) -> None:
        shop.rule("grease", "lubricate", every_h=100)
        shop.runs("2026-03-01", 2, hours=10, kg=500)  # 0.02 h per kg of rapeseed
        shop.runs("2026-03-03", 2, hours=10, kg=250, crop="flax")  # 0.04 h per kg
        shop.plan("2026-08-10", "2026-08-29", 5_000, crop="flax")  # 250 kg, so 10 h a day
        # 60 h left: the sixth day.
        found = item("2026-03-04")
        assert found.due_on == date(2026, 8, 15)
        assert found.left_kg == pytest.approx(1500)

    def test_a_meter_that_counts_more_than_the_runs_brings_the_day_nearer(self, shop: Shop) -> None:
        shop.press("P1", hours_from="meter")
        shop.rule("grease", "lubricate", every_h=100)
        shop.runs("2026-02-20", 5, hours=10, kg=500)  # before the meter was fitted
        shop.read("2026-03-01 00:00", 0)
        shop.runs("2026-03-01", 2, hours=10, kg=500)
        shop.read("2026-03-02 23:00", 30)  # 20 h of pressing, 30 h of power
        shop.plan("2026-08-10", "2026-08-29", 10_000)  # 500 kg, so 15 h on the meter a day
        # 50 h before the meter and 30 h by it leave 20 h: the second day.
        assert item("2026-03-02").left_h == pytest.approx(20)
        assert item("2026-03-02").due_on == date(2026, 8, 11)

    def test_a_slower_and_a_faster_season_give_the_range(self, shop: Shop) -> None:
        shop.rule("check", "inspect", every_kg=20_000)
        shop.runs("2026-03-01", 2, kg=500)
        shop.plan("2026-08-01", "2026-10-31", 46_000)  # 500 a day, 19,000 left: the 38th day
        found = item("2026-03-02")
        assert found.due_on == date(2026, 9, 7)
        early, _, late = span(found)
        # A plan is missed by about 15 % either way before any has been kept: 32 to 47 days.
        assert date(2026, 8, 28) <= early <= date(2026, 9, 4)
        assert date(2026, 9, 10) <= late <= date(2026, 9, 20)

    def test_without_a_plan_the_press_s_pace_gives_the_day(self, shop: Shop) -> None:
        shop.rule("grease", "lubricate", every_h=1000)
        shop.runs("2026-01-01", 90, hours=10)
        # 100 h left at 10 h a day.
        assert item("2026-03-31").due_on == date(2026, 4, 10)

    def test_without_plan_and_pace_there_is_no_day_but_what_is_left(self, shop: Shop) -> None:
        shop.press()
        shop.rule("grease", "lubricate", every_h=200)
        found = item("2026-03-31")
        assert (found.state, found.basis, found.left_h) == ("later", "interval", 200)
        assert (found.due_on, found.early_on, found.late_on) == (None, None, None)
        assert (found.left_kg, found.left_days) == (None, None)

    def test_a_die_counts_only_the_planned_crops_it_is_used_for(self, shop: Shop) -> None:
        die = shop.part("D1", shop.type("D10", "die", for_crops="sunflower"))
        shop.fit(die, "2026-03-01", position="die")
        shop.runs("2026-03-01", 2, kg=500, crop="sunflower")
        shop.plan("2026-08-01", "2026-08-31", 31_000)
        shop.plan("2026-09-01", "2026-09-30", 15_000, crop="sunflower")  # 500 a day
        shop.rule("check die", "inspect", kind="die", every_kg=3000)
        assert item("2026-03-02").due_on == date(2026, 9, 4)


def test_a_mill_that_thinks_in_pounds_reads_pounds(shop: Shop) -> None:
    shop.mill.units = "us"
    shop.mill.save()
    shop.rule("check", "inspect", every_kg=4535.9237)  # 10,000 lb
    shop.run("2026-03-01 06:00", 10, 453.59237)  # 1,000 lb
    assert "1,000 lb of 10,000 lb" in item("2026-03-01").why
    assert "9,000 lb left" in item("2026-03-01").why
