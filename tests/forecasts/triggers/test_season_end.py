"""Work after a crop's season: the next run of another crop, or 14 days after the crop's last run."""

from __future__ import annotations

from datetime import date

from tests.mills.forecast_shop import Shop, item, items, span


def a_screw(shop: Shop, fitted: str = "2026-01-01") -> None:
    shop.fit(shop.part("S1", shop.type("S", "screw")), fitted)
    shop.rule("inspect", "inspect", kind="screw", after_crop="sunflower")


class TestASeasonThatHasEnded:
    def test_it_ends_with_the_next_run_of_another_crop_on_the_press(self, shop: Shop) -> None:
        a_screw(shop)
        shop.runs("2026-03-01", 5, crop="sunflower")
        shop.run("2026-03-08 06:00", 8, 400)
        found = item("2026-03-20")
        assert (found.trigger, found.basis) == ("season", "interval")
        assert found.due_on == found.early_on == found.late_on == date(2026, 3, 8)

    def test_it_ends_14_days_after_the_crop_s_last_run(self, shop: Shop) -> None:
        a_screw(shop)
        shop.runs("2026-03-01", 5, crop="sunflower")
        assert item("2026-03-18").state == "later"
        assert item("2026-03-19").due_on == date(2026, 3, 19)
        assert item("2026-03-19").state == "due"

    def test_a_run_of_another_crop_on_another_press_ends_nothing(self, shop: Shop) -> None:
        a_screw(shop)
        shop.runs("2026-03-01", 5, crop="sunflower")
        shop.run("2026-03-06 06:00", 8, 400, press="P2")
        assert item("2026-03-06").state == "later"

    def test_a_pause_shorter_than_14_days_ends_nothing(self, shop: Shop) -> None:
        a_screw(shop)
        shop.run("2026-03-01 06:00", 8, 400, crop="sunflower")
        shop.run("2026-03-15 06:00", 8, 400, crop="sunflower")
        assert item("2026-03-16").due_on == date(2026, 3, 29)

    def test_a_crop_taken_up_again_later_leaves_the_first_end_standing(self, shop: Shop) -> None:
        a_screw(shop)
        shop.run("2026-03-01 06:00", 8, 400, crop="sunflower")
        shop.run("2026-04-15 06:00", 8, 400, crop="sunflower")
        assert item("2026-04-16").due_on == date(2026, 3, 15)

    def test_work_after_the_season_rests_until_the_crop_s_next_season(self, shop: Shop) -> None:
        a_screw(shop)
        shop.runs("2026-03-01", 5, crop="sunflower")
        shop.serve("2026-03-06 08:00", "inspect", position="screw")
        shop.runs("2026-03-08", 20)
        # Nothing is due; without a plan the next season is taken to end like this one.
        found = item("2026-03-27")
        assert (found.state, found.due_on) == ("later", date(2027, 3, 8))
        shop.runs("2026-05-01", 2, crop="sunflower")
        shop.run("2026-05-04 06:00", 8, 400)
        assert item("2026-05-04").due_on == date(2026, 5, 4)

    def test_work_in_the_middle_of_the_season_leaves_its_end_due(self, shop: Shop) -> None:
        a_screw(shop)
        shop.runs("2026-03-01", 5, crop="sunflower")
        shop.serve("2026-03-03 05:00", "inspect", position="screw")
        shop.run("2026-03-08 06:00", 8, 400)
        assert item("2026-03-08").due_on == date(2026, 3, 8)

    def test_a_part_that_never_worked_the_crop_has_nothing_due(self, shop: Shop) -> None:
        a_screw(shop, fitted="2026-03-07")
        shop.runs("2026-03-01", 5, crop="sunflower")
        shop.run("2026-03-08 06:00", 8, 400)
        assert item("2026-03-20").state == "later"

    def test_a_rule_without_a_part_kind_is_about_the_press(self, shop: Shop) -> None:
        shop.rule("strip and wash", "clean", after_crop="flax")
        shop.runs("2026-03-01", 5, crop="flax")
        shop.run("2026-03-08 06:00", 8, 400)
        shop.runs("2026-03-01", 5, press="P2")
        assert [(one.press, one.due_on) for one in items("2026-03-09")] == [
            ("P1", date(2026, 3, 8)),
            ("P2", None),
        ]


class TestASeasonThatGoesOn:
    def test_the_planned_change_away_from_the_crop_is_the_day(self, shop: Shop) -> None:
        a_screw(shop)
        shop.runs("2026-03-01", 5, crop="sunflower")
        shop.plan("2026-03-01", "2026-04-10", 20_000, crop="sunflower")
        shop.plan("2026-04-15", "2026-05-31", 20_000)
        early, due, late = span(item("2026-03-05"))
        assert due == date(2026, 4, 15)
        assert early < due < late

    def test_where_nothing_follows_it_is_14_days_after_the_last_planned_day(self, shop: Shop) -> None:
        a_screw(shop)
        shop.runs("2026-03-01", 5, crop="sunflower")
        shop.plan("2026-03-01", "2026-04-10", 20_000, crop="sunflower")
        assert item("2026-03-05").due_on == date(2026, 4, 24)

    def test_where_the_next_crop_comes_later_than_that_it_is_too(self, shop: Shop) -> None:
        a_screw(shop)
        shop.runs("2026-03-01", 5, crop="sunflower")
        shop.plan("2026-03-01", "2026-04-10", 20_000, crop="sunflower")
        shop.plan("2026-08-01", "2026-09-30", 20_000)
        assert item("2026-03-05").due_on == date(2026, 4, 24)

    def test_without_a_plan_it_is_14_days_after_the_last_run_so_far(self, shop: Shop) -> None:
        a_screw(shop)
        shop.runs("2026-03-01", 5, crop="sunflower")
        assert item("2026-03-05").due_on == date(2026, 3, 19)


class TestASeasonToCome:
    def test_its_planned_end_is_the_day(self, shop: Shop) -> None:
        a_screw(shop)
        shop.plan("2026-08-10", "2026-10-20", 25_000)
        shop.plan("2026-11-01", "2027-01-31", 40_000, crop="sunflower")
        shop.plan("2027-03-01", "2027-04-30", 20_000)
        assert item("2026-03-05").due_on == date(2027, 2, 14)

    def test_without_a_plan_it_is_the_end_of_a_year_ago(self, shop: Shop) -> None:
        a_screw(shop)
        shop.runs("2026-03-01", 5, crop="sunflower")
        shop.run("2026-03-08 06:00", 8, 400)
        shop.serve("2026-03-09 08:00", "inspect", position="screw")
        early, due, late = span(item("2026-05-01"))
        assert due == date(2027, 3, 8)
        assert early < due < late

    def test_where_the_crop_is_neither_planned_nor_known_there_is_no_day(self, shop: Shop) -> None:
        a_screw(shop)
        shop.plan("2026-08-10", "2026-10-20", 25_000)
        found = item("2026-03-05")
        assert (found.state, found.due_on, found.trigger) == ("later", None, "season")
