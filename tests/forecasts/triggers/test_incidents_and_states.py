"""Incidents, several triggers of one rule, and the states of an item."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.utils import translation

from tests.mills.forecast_shop import Shop, day, item, items, span


class TestIncidents:
    def test_an_incident_makes_its_rules_due_at_once(self, shop: Shop) -> None:
        shop.fit(shop.part("S1", shop.type("S", "screw")), "2026-01-01")
        shop.rule("inspect after metal", "inspect", kind="screw", after_incident="metal plugged")
        assert item("2026-03-04").state == "later"
        shop.incident("2026-03-05 14:00", "plugged")
        found = item("2026-03-05")
        assert (found.trigger, found.state, found.due_on) == ("incident", "due", date(2026, 3, 5))
        assert "plugged" in found.why

    def test_the_sentence_names_the_incident_in_the_language_that_is_active(self, shop: Shop) -> None:
        shop.fit(shop.part("S1", shop.type("S", "screw")), "2026-01-01")
        shop.rule("inspect after metal", "inspect", kind="screw", after_incident="metal plugged")
        with translation.override("fr"):
            assert "(métal dans les graines, bouchage)" in item("2026-03-04").why
        shop.incident("2026-03-05 14:00", "plugged")
        with translation.override("fr"):
            assert item("2026-03-05").why.startswith("Un incident (bouchage) le 5 mars")

    def test_incidents_of_other_kinds_presses_and_times_do_not(self, shop: Shop) -> None:
        shop.fit(shop.part("S1", shop.type("S", "screw")), "2026-03-01")
        shop.rule("inspect after metal", "inspect", kind="screw", after_incident="metal")
        shop.incident("2026-03-05 14:00", "noise")
        shop.incident("2026-03-05 14:00", press="P2")
        shop.incident("2026-02-28 14:00")  # the screw was not fitted yet
        shop.incident("2026-04-01 00:00")
        assert item("2026-03-31").state == "later"

    def test_an_incident_at_another_position_does_not_concern_the_part(self, shop: Shop) -> None:
        shop.fit(shop.part("S1", shop.type("S", "screw")), "2026-01-01")
        shop.fit(shop.part("D1", shop.type("D", "die")), "2026-01-01", position="die")
        shop.rule("screw", "inspect", kind="screw", after_incident="metal")
        shop.rule("die", "inspect", kind="die", after_incident="metal")
        shop.rule("press", "inspect", after_incident="metal")
        shop.incident("2026-03-05 14:00", position="die")
        assert [one.rule for one in items("2026-03-05") if one.state == "due"] == ["die", "press"]

    def test_an_incident_without_a_position_concerns_every_part_of_the_press(self, shop: Shop) -> None:
        kind = shop.type("S", "screw")
        shop.position("P1", "left screw")
        shop.position("P1", "right screw")
        shop.fit(shop.part("S1", kind), "2026-01-01", position="left screw")
        shop.fit(shop.part("S2", kind), "2026-01-01", position="right screw")
        shop.rule("screw", "inspect", kind="screw", after_incident="metal")
        shop.incident("2026-03-05 14:00")
        assert [one.state for one in items("2026-03-05")] == ["due", "due"]

    def test_work_after_the_incident_settles_it_and_work_before_does_not(self, shop: Shop) -> None:
        shop.fit(shop.part("S1", shop.type("S", "screw")), "2026-01-01")
        shop.rule("inspect after metal", "inspect", kind="screw", after_incident="metal")
        shop.incident("2026-03-05 14:00")
        shop.serve("2026-03-05 09:00", "inspect", position="screw")
        assert item("2026-03-06").state == "due"
        shop.serve("2026-03-06 09:00", "inspect", position="screw")
        assert item("2026-03-06").state == "later"
        shop.incident("2026-03-07 09:00")
        assert item("2026-03-07").due_on == date(2026, 3, 7)

    def test_a_part_put_in_after_the_incident_is_not_concerned(self, shop: Shop) -> None:
        kind = shop.type("S", "screw")
        shop.fit(shop.part("S1", kind), "2026-01-01", "2026-03-05 16:00")
        shop.fit(shop.part("S2", kind), "2026-03-05 16:00")
        shop.rule("inspect after metal", "inspect", kind="screw", after_incident="metal")
        shop.incident("2026-03-05 14:00")
        assert (item("2026-03-06").part, item("2026-03-06").state) == ("S2", "later")


class TestTheFirstToTrip:
    def test_of_two_intervals_the_one_that_is_over_first_decides(self, shop: Shop) -> None:
        shop.press("P1", commissioned_on=day("2026-03-01"))
        shop.rule("grease", "lubricate", every_h=95, every_days=5)
        shop.runs("2026-03-01", 20, hours=10)
        found = item("2026-03-20")
        assert (found.trigger, found.due_on) == ("days", date(2026, 3, 6))

    def test_of_two_to_come_the_one_that_is_expected_first_decides(self, shop: Shop) -> None:
        shop.press("P1", commissioned_on=day("2026-03-01"))
        shop.rule("grease", "lubricate", every_h=300, every_days=90)
        shop.runs("2026-03-01", 20, hours=10)
        # 100 h left at 10 h a day against 30 May.
        assert (item("2026-03-20").trigger, item("2026-03-20").due_on) == ("hours", date(2026, 3, 30))

    def test_an_incident_comes_before_an_interval_that_is_not_over(self, shop: Shop) -> None:
        shop.rule("inspect", "inspect", every_h=300, after_incident="metal")
        shop.runs("2026-03-01", 20, hours=10)
        shop.incident("2026-03-10 09:00")
        assert item("2026-03-20").trigger == "incident"

    def test_an_interval_over_before_the_incident_stays_first(self, shop: Shop) -> None:
        shop.rule("inspect", "inspect", every_h=45, after_incident="metal")
        shop.runs("2026-03-01", 20, hours=10)
        shop.incident("2026-03-10 09:00")
        assert (item("2026-03-20").trigger, item("2026-03-20").due_on) == ("hours", date(2026, 3, 5))

    def test_a_tie_is_settled_in_the_order_of_the_format(self, shop: Shop) -> None:
        shop.press("P1", commissioned_on=day("2026-03-01"))
        shop.rule("both over", "lubricate", every_h=50, every_kg=2500)
        shop.runs("2026-03-01", 20, hours=10, kg=500)
        found = item("2026-03-20")
        assert (found.trigger, found.due_on) == ("hours", date(2026, 3, 5))

    def test_a_tie_to_come_is_settled_alike(self, shop: Shop) -> None:
        shop.press("P1", commissioned_on=day("2026-03-01"))
        shop.rule("grease", "lubricate", every_h=300, every_days=29, every_kg=15_000)
        shop.runs("2026-03-01", 20, hours=10, kg=500)
        # 100 h, 5,000 kg and the 29 days all end on 30 March.
        found = item("2026-03-20")
        assert (found.trigger, found.due_on) == ("hours", date(2026, 3, 30))
        assert (found.left_h, found.left_kg) == (pytest.approx(100), pytest.approx(5000))

    def test_one_with_a_day_goes_before_one_without(self, shop: Shop) -> None:
        shop.press("P1", commissioned_on=day("2026-03-01"))
        shop.rule("grease", "lubricate", every_h=300, every_days=90)
        found = item("2026-03-20")
        assert (found.trigger, found.due_on) == ("days", date(2026, 5, 30))

    def test_one_that_can_t_be_told_leaves_the_word_to_one_that_can(self, shop: Shop) -> None:
        shop.press("P1")
        shop.rule("grease", "lubricate", every_h=300, every_days=90)
        found = item("2026-03-20")
        assert (found.trigger, found.state) == ("hours", "later")


class TestStates:
    @pytest.mark.parametrize(
        ("as_of", "state"),
        [
            ("2026-03-25", "later"),
            ("2026-03-26", "coming"),  # 5 days ahead
            ("2026-03-30", "coming"),
            ("2026-03-31", "due"),
            ("2026-04-07", "due"),
            ("2026-04-08", "overdue"),  # more than 7 days past
        ],
    )
    def test_a_counted_trigger_goes_from_later_to_overdue(self, shop: Shop, as_of: str, state: str) -> None:
        shop.press("P1", commissioned_on=day("2026-03-01"))
        shop.rule("check magnet", "inspect", every_days=30, lead_days=5)
        assert item(as_of).state == state

    def test_coming_is_reckoned_from_the_early_day(self, shop: Shop) -> None:
        rule = shop.rule("check", "inspect", every_kg=20_000)
        shop.runs("2026-03-01", 2, kg=500)
        shop.plan("2026-08-01", "2026-10-31", 46_000)
        shop.runs("2026-08-01", 24, kg=500)
        early, due, _ = span(item("2026-08-24"))
        # 7,000 kg left at 500 a day are 14 days; a faster season takes fewer.
        assert due == date(2026, 9, 7)
        assert date(2026, 9, 1) <= early < due
        ahead = (early - date(2026, 8, 24)).days
        for lead, state in ((ahead - 1, "later"), (ahead, "coming")):
            rule.lead_days = Decimal(lead)
            rule.save()
            assert item("2026-08-24").state == state

    def test_without_lead_days_an_item_comes_up_on_its_early_day(self, shop: Shop) -> None:
        shop.press("P1", commissioned_on=day("2026-03-01"))
        shop.rule("check magnet", "inspect", every_days=30)
        assert item("2026-03-30").state == "later"
        assert item("2026-03-31").state == "due"


class TestWhatGoesWithAnItem:
    def test_the_caution_names_the_press_s_isolation_points(self, shop: Shop) -> None:
        shop.press("P1", isolate_at="switch by the door")
        shop.press("P2", isolate_at="")
        shop.rule("grease", "lubricate", every_h=200)
        first, second = items("2026-03-01")
        assert "switch by the door" in first.caution.isolation_points[0]
        assert second.caution.isolation_points == ()
        assert "No isolation points are recorded" in second.caution.text

    def test_the_cycle_changes_with_each_service_and_incident_and_not_with_time(self, shop: Shop) -> None:
        shop.rule("inspect", "inspect", every_h=45, after_incident="metal")
        shop.runs("2026-03-01", 3, hours=10)
        first = item("2026-03-01").cycle
        assert item("2026-03-03").cycle == first
        shop.incident("2026-03-03 20:00")
        struck = item("2026-03-03").cycle
        assert struck != first
        shop.serve("2026-03-04 08:00", "inspect")
        assert item("2026-03-04").cycle not in {first, struck}

    def test_the_sentence_holds_the_numbers(self, shop: Shop) -> None:
        shop.rule("grease", "lubricate", every_h=200)
        shop.runs("2026-03-01", 12, hours=10)
        shop.serve("2026-03-05 00:00", "lubricate")
        shop.plan("2026-08-10", "2026-08-29", 10_000)
        # 80 h since; 120 h left at 10 h a day from 10 August on.
        found = item("2026-03-12")
        assert found.due_on == date(2026, 8, 21)
        for words in (
            "80.0 h of 200.0 h", "since the last lubrication on 5 March", "120.0 h left",
            "at the plan from 10 August", "about 21 August",
        ):  # fmt: skip
            assert words in found.why
