"""Items of a wear limit: which edges have one, what they say, and when."""

from __future__ import annotations

from datetime import date

import pytest

from tests.mills.forecast_shop import Shop, day, item, items, span
from wearlog.equipment.models import Part, PartType


def a_die_type(shop: Shop, code: str = "D5", **fields: object) -> PartType:
    """A bore of 5 mm that may open by 0.4 mm; two edges unless said otherwise."""
    given: dict[str, object] = {"edges": 2, "size_mm": 5.0, "new_mm": 5.0, "limit_mm": 5.4}
    return shop.type(code, "die", **(given | fields))


def the_rule(shop: Shop, **fields: object) -> None:
    shop.rule("die at limit", "flip", kind="die", at_limit=True, **fields)


def a_worn_die(shop: Shop, code: str = "D1", kind: PartType | None = None) -> Part:
    """40 runs of 500 kg from 1 March on, gauged each tenth: 0.01 mm a tonne, so 0.2 of 0.4 mm at the end."""
    die = shop.part(code, kind or a_die_type(shop))
    shop.fit(die, "2026-03-01", edge="A", position="die")
    shop.runs("2026-03-01", 40, kg=500)
    for tenth in range(1, 5):
        shop.gauge(f"{date(2026, 3, 1).fromordinal(date(2026, 3, 1).toordinal() + 10 * tenth)} 05:00",
                   die, 5 + 0.05 * tenth, edge="A")  # fmt: skip
    return die


class TestWhichEdgesHaveAnItem:
    def test_each_edge_in_use_and_each_part_off_the_press_for_its_last_edge(self, shop: Shop) -> None:
        kind = a_die_type(shop)
        on_press, off_press = shop.part("D1", kind), shop.part("D2", kind)
        shop.fit(on_press, "2026-01-01", "2026-02-01", edge="A", position="die")
        shop.fit(on_press, "2026-02-01", edge="B", position="die")
        shop.fit(off_press, "2026-01-01", "2026-01-15", edge="A", press="P2", position="left die")
        shop.fit(off_press, "2026-01-15", "2026-01-20", edge="A", press="P3", position="right die")
        shop.part("D3", kind)  # never fitted
        gone = shop.part("D4", kind, retired_on=day("2026-02-10"), retired_because="worn")
        shop.fit(gone, "2026-01-01", "2026-02-10 08:00", edge="A", press="P4", position="die")
        the_rule(shop)
        assert [(one.part, one.edge, one.press, one.position) for one in items("2026-03-01")] == [
            ("D1", "B", "P1", "die"),
            ("D2", "A", "P3", "right die"),
        ]

    def test_a_part_retired_later_still_has_its_item(self, shop: Shop) -> None:
        gone = shop.part("D4", a_die_type(shop), retired_on=day("2026-02-10"))
        shop.fit(gone, "2026-01-01", "2026-02-10 08:00", edge="A", position="die")
        the_rule(shop)
        assert len(items("2026-02-09")) == 1
        assert items("2026-02-10") == []

    def test_only_a_part_on_a_press_has_a_fitting(self, shop: Shop) -> None:
        kind = a_die_type(shop)
        shop.fit(shop.part("D1", kind), "2026-01-01", edge="A", position="die")
        shop.fit(shop.part("D2", kind), "2026-01-01", "2026-01-20", edge="A", press="P2", position="die")
        the_rule(shop)
        first, second = items("2026-03-01")
        assert first.fitting_id is not None
        assert second.fitting_id is None

    def test_other_triggers_of_the_rule_leave_parts_off_the_press_alone(self, shop: Shop) -> None:
        kind = a_die_type(shop)
        shop.fit(shop.part("D1", kind), "2026-01-01", "2026-01-20", edge="A", position="die")
        shop.fit(shop.part("D2", kind), "2026-01-20", edge="A", position="die")
        the_rule(shop, every_days=10)
        by_part = {one.part: one for one in items("2026-03-01")}
        assert by_part["D1"].trigger == "limit"
        assert (by_part["D2"].trigger, by_part["D2"].due_on) == ("days", date(2026, 1, 30))

    def test_a_part_type_a_press_and_a_position_narrow_the_rule(self, shop: Shop) -> None:
        small, large = a_die_type(shop), a_die_type(shop, "D10", new_mm=10.0, limit_mm=10.4)
        shop.fit(shop.part("D1", small), "2026-01-01", edge="A", position="die")
        shop.fit(shop.part("D2", large), "2026-01-01", edge="A", press="P2", position="die")
        shop.fit(shop.part("D3", large), "2026-01-01", "2026-01-05", edge="A", press="P3", position="die")
        shop.rule("by type", "flip", part_type=large, at_limit=True)
        shop.rule("by press", "flip", kind="die", press=shop.press("P3"), at_limit=True)
        shop.rule("by position", "flip", kind="die", position="left die", at_limit=True)
        assert [one.part for one in items("2026-03-01", "by type")] == ["D2", "D3"]
        assert [one.part for one in items("2026-03-01", "by press")] == ["D3"]
        assert items("2026-03-01", "by position") == []

    def test_a_rule_that_names_neither_covers_every_part_with_a_limit(self, shop: Shop) -> None:
        shop.fit(shop.part("D1", a_die_type(shop)), "2026-01-01", edge="A", position="die")
        shop.fit(shop.part("S1", shop.type("S", "screw")), "2026-01-01")
        shop.rule("anything at limit", "replace", at_limit=True)
        assert [one.part for one in items("2026-03-01")] == ["D1"]


class TestTheAction:
    def test_while_an_edge_was_never_used_it_is_a_flip(self, shop: Shop) -> None:
        shop.fit(shop.part("D1", a_die_type(shop)), "2026-01-01", edge="A", position="die")
        the_rule(shop)
        assert item("2026-03-01").action == "flip"

    def test_with_no_edge_left_it_is_a_replacement(self, shop: Shop) -> None:
        die = shop.part("D1", a_die_type(shop))
        shop.fit(die, "2026-01-01", "2026-02-01", edge="A", position="die")
        shop.fit(die, "2026-02-01", edge="B", position="die")
        the_rule(shop)
        assert item("2026-01-31").action == "flip"
        assert item("2026-02-01").action == "replace"
        assert item("2026-02-01").edge == "B"

    def test_a_die_with_one_edge_can_only_be_replaced(self, shop: Shop) -> None:
        shop.fit(shop.part("D1", a_die_type(shop, edges=1)), "2026-01-01", position="die")
        the_rule(shop)
        found = item("2026-03-01")
        assert (found.action, found.edge) == ("replace", "")

    def test_any_other_action_stays(self, shop: Shop) -> None:
        shop.fit(shop.part("D1", a_die_type(shop, edges=1)), "2026-01-01", position="die")
        shop.rule("measure", "measure", kind="die", at_limit=True)
        assert item("2026-03-01").action == "measure"


class TestDates:
    def test_a_measured_edge_reaches_its_limit_along_the_plan(self, shop: Shop) -> None:
        a_worn_die(shop)
        the_rule(shop)
        shop.plan("2026-08-01", "2026-10-31", 46_000)  # 500 kg a day
        found = item("2026-04-09")
        assert (found.trigger, found.basis, found.part, found.edge) == ("limit", "measured", "D1", "A")
        # 20 t left at 0.01 mm a tonne: the 40th planned day is 9 September.
        early, due, late = span(found)
        assert abs((due - date(2026, 9, 9)).days) <= 10
        assert early < due < late
        assert early <= date(2026, 9, 9) <= late
        assert found.left_kg == pytest.approx(20_000, rel=0.25)
        # 0.02 h a kilogram.
        assert found.left_h == pytest.approx((found.left_kg or 0) * 0.02, rel=0.02)
        assert found.left_days == (due - date(2026, 4, 9)).days
        assert found.state == "later"

    def test_the_sentence_says_what_is_worn_how_fast_and_what_is_left(self, shop: Shop) -> None:
        a_worn_die(shop)
        the_rule(shop)
        shop.plan("2026-08-01", "2026-10-31", 46_000)
        text = item("2026-04-09").why
        for words in (
            "Edge A has worn 0.", "of 0.40 mm after 20.00 t", "on this die rapeseed 0.0", "mm/t;",
            "t left", "at the plan from 1 August about",
        ):  # fmt: skip
            assert words in text, text

    def test_the_sentence_of_a_part_on_the_shelf_says_so(self, shop: Shop) -> None:
        shop.press("P1", name="North press")
        die = shop.part("D1", a_die_type(shop, expected_life_kg=40_000))
        shop.fit(die, "2026-03-01", "2026-03-05", edge="A", position="die")
        shop.runs("2026-03-01", 20, kg=500)
        the_rule(shop)
        text = item("2026-03-20").why
        assert "it lies off the press and is reckoned as going back on North press" in text
        assert "at the recent pace about" in text

    def test_the_sentence_says_where_the_plan_ends_and_the_pace_begins(self, shop: Shop) -> None:
        a_worn_die(shop)
        the_rule(shop)
        shop.plan("2026-04-15", "2026-04-20", 3000)
        assert "at the plan and then the pace of earlier years about" in item("2026-04-09").why

    def test_the_strip_shows_new_limit_gauge_and_estimate(self, shop: Shop) -> None:
        a_worn_die(shop)
        the_rule(shop)
        wear = item("2026-04-09").wear
        assert wear is not None
        assert (wear.new_mm, wear.limit_mm) == (5.0, 5.4)
        assert (wear.measured_mm, wear.measured_on) == (5.15, date(2026, 3, 31))
        assert wear.now_low_mm is not None
        assert wear.now_mm is not None
        assert wear.now_high_mm is not None
        assert wear.now_low_mm <= wear.now_mm <= wear.now_high_mm
        assert wear.now_mm == pytest.approx(5.2, abs=0.03)

    def test_a_screw_shrinks_towards_its_limit(self, shop: Shop) -> None:
        screw = shop.part("S1", shop.type("S", "screw", new_mm=70.0, limit_mm=69.0))
        shop.fit(screw, "2026-03-01")
        shop.runs("2026-03-01", 40, kg=500)
        for at, value in (("2026-03-11", 69.875), ("2026-03-21", 69.75), ("2026-04-10", 69.5)):
            shop.gauge(f"{at} 05:00", screw, value)
        shop.rule("screw at limit", "replace", kind="screw", at_limit=True)
        found = item("2026-04-10")
        assert found.wear is not None
        assert found.wear.now_mm == pytest.approx(69.5, abs=0.1)
        assert found.left_kg == pytest.approx(20_000, rel=0.3)

    def test_a_die_on_the_shelf_waits_for_the_crops_it_serves(self, shop: Shop) -> None:
        kind = a_die_type(shop, "D10", for_crops="sunflower")
        die = shop.part("D1", kind)
        shop.fit(die, "2026-03-01", "2026-04-15", edge="A", position="die")
        shop.runs("2026-03-01", 40, kg=500, crop="sunflower")
        for at, value in (("2026-03-11", 5.05), ("2026-03-21", 5.1), ("2026-04-10", 5.2)):
            shop.gauge(f"{at} 05:00", die, value, edge="A")
        the_rule(shop)
        shop.plan("2026-05-01", "2026-10-31", 184_000)
        shop.plan("2026-11-01", "2027-01-31", 46_000, crop="sunflower")
        early, due, late = span(item("2026-04-20"))
        assert early >= date(2026, 11, 1)
        assert abs((due - date(2026, 12, 10)).days) <= 10
        assert late <= date(2027, 1, 31)

    def test_a_part_on_a_twin_wears_by_its_share(self, shop: Shop) -> None:
        kind = a_die_type(shop)
        for side in ("left", "right"):
            shop.position("P1", f"{side} die", barrel=side, share=0.5)
        die = shop.part("D1", kind)
        shop.fit(die, "2026-03-01", edge="A", position="left die")
        shop.runs("2026-03-01", 40, kg=1000)
        for at, value in (("2026-03-11", 5.05), ("2026-03-21", 5.1), ("2026-04-10", 5.2)):
            shop.gauge(f"{at} 05:00", die, value, edge="A")
        the_rule(shop)
        shop.plan("2026-08-01", "2026-10-31", 92_000)
        found = item("2026-04-10")
        assert found.left_kg == pytest.approx(20_000, rel=0.25)
        assert found.due_on is not None
        assert abs((found.due_on - date(2026, 9, 9)).days) <= 10

    def test_a_passed_limit_keeps_its_day_and_is_overdue_after_the_late_day(self, shop: Shop) -> None:
        die = shop.part("D1", a_die_type(shop))
        shop.fit(die, "2026-03-01", edge="A", position="die")
        shop.runs("2026-03-01", 60, kg=1000)  # 0.6 mm at 0.01 mm a tonne: passed about 9 April
        for step, at in enumerate(("2026-03-11", "2026-03-21", "2026-03-31", "2026-04-10"), start=1):
            shop.gauge(f"{at} 05:00", die, 5 + 0.1 * step, edge="A")
        the_rule(shop)
        found = item("2026-05-31")
        _, due, late = span(found)
        assert abs((due - date(2026, 4, 10)).days) <= 7
        assert late < date(2026, 5, 31)
        assert found.state == "overdue"
        assert item("2026-06-30").due_on == due

    def test_without_plan_and_pace_there_is_no_day_but_what_is_left(self, shop: Shop) -> None:
        die = shop.part("D1", a_die_type(shop, expected_life_kg=40_000))
        shop.fit(die, "2026-03-01", edge="A", position="die")
        the_rule(shop)
        found = item("2026-03-02")
        assert (found.state, found.basis) == ("later", "expected_life")
        assert (found.due_on, found.early_on, found.late_on) == (None, None, None)


class TestWhatItRestsOn:
    def test_an_edge_without_gauges_goes_by_the_others_of_its_type(self, shop: Shop) -> None:
        kind = a_die_type(shop)
        a_worn_die(shop, kind=kind)
        other = shop.part("D2", kind)
        shop.fit(other, "2026-03-01", edge="A", press="P2", position="die")
        shop.runs("2026-03-01", 20, kg=500, press="P2")
        the_rule(shop)
        found = item("2026-04-10", part="D2")
        assert found.basis == "fleet"
        assert "not measured yet" in found.why

    def test_without_any_gauge_the_expected_life_counts(self, shop: Shop) -> None:
        shop.fit(
            shop.part("D1", a_die_type(shop, expected_life_kg=40_000)), "2026-03-01", edge="A", position="die"
        )
        shop.runs("2026-03-01", 20, kg=500)
        the_rule(shop)
        found = item("2026-03-20")
        assert found.basis == "expected_life"
        assert found.left_kg == pytest.approx(30_000, rel=0.1)

    def test_where_nothing_can_be_said_the_state_is_unknown_and_no_rate_is_invented(self, shop: Shop) -> None:
        shop.fit(shop.part("D1", a_die_type(shop)), "2026-03-01", edge="A", position="die")
        shop.runs("2026-03-01", 20, kg=500)
        shop.plan("2026-08-01", "2026-10-31", 46_000)
        the_rule(shop)
        found = item("2026-03-20")
        assert (found.state, found.basis, found.trigger) == ("unknown", "none", "limit")
        assert (found.due_on, found.early_on, found.late_on) == (None, None, None)
        assert (found.left_kg, found.left_h, found.left_days) == (None, None, None)
        assert found.why

    def test_a_type_without_dimensions_goes_by_its_expected_life_in_seed(self, shop: Shop) -> None:
        kind = shop.type("F", "filter", expected_life_kg=20_000.0)
        shop.position("P1", "filter")
        shop.fit(shop.part("F1", kind), "2026-03-01", position="filter")
        shop.runs("2026-03-01", 20, kg=500)
        shop.plan("2026-08-01", "2026-10-31", 46_000)
        shop.rule("filter worn", "replace", kind="filter", at_limit=True)
        found = item("2026-03-20")
        # 10 t left at 500 kg a day: the 20th planned day.
        assert (found.basis, found.due_on, found.left_kg) == ("expected_life", date(2026, 8, 20), 10_000)

    def test_or_in_hours_and_the_shorter_of_both_counts(self, shop: Shop) -> None:
        kind = shop.type("F", "filter", expected_life_kg=20_000.0, expected_life_h=250.0)
        shop.position("P1", "filter")
        shop.fit(shop.part("F1", kind), "2026-03-01", position="filter")
        shop.runs("2026-03-01", 20, kg=500, hours=10)
        shop.plan("2026-08-01", "2026-10-31", 46_000)
        shop.rule("filter worn", "replace", kind="filter", at_limit=True)
        found = item("2026-03-20")
        # 50 h left at 10 h a day.
        assert (found.due_on, found.left_h) == (date(2026, 8, 5), pytest.approx(50))


class TestWorkThatChangesTheDimension:
    def test_a_rebuild_starts_anew_at_the_value_measured_after_it(self, shop: Shop) -> None:
        die = a_worn_die(shop)
        work = shop.serve("2026-04-10 12:00", "rebuild", part=die, edge="A", position="die")
        shop.gauge("2026-04-10 12:30", die, 5.0, edge="A", service=work, phase="after")
        the_rule(shop)
        before, after = item("2026-04-09"), item("2026-04-10")
        assert before.left_kg == pytest.approx(20_000, rel=0.25)
        assert after.left_kg == pytest.approx(40_000, rel=0.25)
        assert after.cycle != before.cycle
        assert "after 0 kg since the rebuild on 10 April" in after.why

    def test_a_polish_takes_metal_that_the_seed_did_not(self, shop: Shop) -> None:
        kind = a_die_type(shop)
        die = a_worn_die(shop, kind=kind)
        work = shop.serve("2026-04-10 12:00", "polish", part=die, edge="A", position="die")
        shop.gauge("2026-04-10 11:00", die, 5.2, edge="A", service=work, phase="before")
        shop.gauge("2026-04-10 13:00", die, 5.3, edge="A", service=work, phase="after")
        the_rule(shop)
        # 0.1 mm left at 0.01 mm a tonne: the rate stays, the room shrinks.
        assert item("2026-04-10").left_kg == pytest.approx(10_000, rel=0.35)
        assert item("2026-04-10").wear is not None
        assert item("2026-04-10").wear.measured_mm == 5.3  # type: ignore[union-attr]
