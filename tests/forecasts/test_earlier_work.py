"""Work that a part had done before the log begins counts in its dates by hours, by tonnes and by wear."""

from __future__ import annotations

from datetime import date

import pytest

from tests.mills.forecast_shop import Shop, day, item, number
from wearlog.equipment.models import Part, PartType
from wearlog.forecasts.edges import Edges
from wearlog.history.record import load


def die_type(shop: Shop, **fields: object) -> PartType:
    return shop.type("D8", "die", **fields)


def used(
    shop: Shop, type_: PartType, *, hours: float | None = None, kg: float | None = None, on: str = ""
) -> Part:
    return shop.part("D-1", type_, used_h=number(hours), used_kg=number(kg), used_on=day(on) if on else None)


class TestByHoursAndTonnes:
    def test_hours_before_the_log_count_from_when_the_part_was_new(self, shop: Shop) -> None:
        shop.rule("turn", "inspect", kind="die", every_h=500)
        shop.fit(used(shop, die_type(shop), hours=310), "2026-03-01", position="die")
        shop.runs("2026-03-01", 12, hours=10)
        found = item("2026-03-12")
        assert found.left_h == pytest.approx(500 - 310 - 120)
        assert found.due_on is not None
        assert "430.0 h of 500.0 h since it was new, 310.0 h of it before this log" in found.why

    def test_tonnes_before_the_log_count_from_when_the_part_was_new(self, shop: Shop) -> None:
        shop.rule("gauge", "measure", kind="die", every_kg=10_000)
        shop.fit(used(shop, die_type(shop), kg=3_000), "2026-03-01", position="die")
        shop.runs("2026-03-01", 12, kg=500)
        found = item("2026-03-12")
        assert found.left_kg == pytest.approx(1_000)
        assert "since it was new, 3.00 t of it before this log" in found.why

    def test_what_was_used_up_before_the_log_is_due_from_the_first_fitting(self, shop: Shop) -> None:
        shop.rule("turn", "inspect", kind="die", every_h=300)
        shop.fit(used(shop, die_type(shop), hours=310), "2026-03-01 10:00", position="die")
        shop.runs("2026-03-02", 2, hours=10)
        found = item("2026-03-03")
        assert (found.due_on, found.left_h) == (date(2026, 3, 1), pytest.approx(-30))

    def test_work_after_which_counting_begins_anew_leaves_the_earlier_hours_behind(self, shop: Shop) -> None:
        shop.rule("turn", "inspect", kind="die", every_h=500)
        die = used(shop, die_type(shop), hours=310)
        shop.fit(die, "2026-03-01", position="die")
        shop.runs("2026-03-01", 12, hours=10)
        shop.serve("2026-03-05 00:00", "inspect", position="die", part=die)
        assert item("2026-03-12").left_h == pytest.approx(500 - 80)

    def test_what_the_log_holds_from_before_the_stated_day_is_not_counted_twice(self, shop: Shop) -> None:
        shop.rule("turn", "inspect", kind="die", every_h=500)
        shop.fit(used(shop, die_type(shop), hours=310, on="2026-03-05"), "2026-03-01", position="die")
        shop.runs("2026-03-01", 12, hours=10)
        # On the morning of 5 March it had worked 310 h, of which 40 h are runs of this log; 80 h came later.
        assert item("2026-03-12").left_h == pytest.approx(500 - 310 - 80)

    def test_before_the_stated_day_nothing_of_it_is_known(self, shop: Shop) -> None:
        shop.rule("turn", "inspect", kind="die", every_h=500)
        shop.fit(used(shop, die_type(shop), hours=310, on="2026-03-05"), "2026-03-01", position="die")
        shop.runs("2026-03-01", 12, hours=10)
        assert item("2026-03-04").left_h == pytest.approx(500 - 40)


class TestByWear:
    def test_an_expected_life_is_used_up_by_what_was_done_before(self, shop: Shop) -> None:
        shop.rule("replace", "replace", kind="die", at_limit=True)
        shop.fit(used(shop, die_type(shop, expected_life_h=1000.0), hours=600), "2026-03-01", position="die")
        shop.runs("2026-03-01", 10, hours=10)
        assert item("2026-03-10").left_h == pytest.approx(1000 - 700)

    def test_a_life_that_was_over_before_the_log_ended_on_the_day_of_the_first_fitting(
        self, shop: Shop
    ) -> None:
        shop.rule("replace", "replace", kind="die", at_limit=True)
        shop.fit(
            used(shop, die_type(shop, expected_life_kg=9_000.0), kg=10_000), "2026-03-03", position="die"
        )
        shop.runs("2026-03-01", 10)
        assert item("2026-03-10").due_on == date(2026, 3, 3)

    def test_a_gauge_at_set_up_is_the_wear_of_all_that_was_done_before(self, shop: Shop) -> None:
        type_ = die_type(shop, new_mm=8.0, limit_mm=8.4)
        die = used(shop, type_, kg=10_000)
        shop.rule("replace", "replace", kind="die", at_limit=True)
        shop.fit(die, "2026-03-01 10:00", position="die")
        shop.gauge("2026-03-01 10:00", die, 8.2)
        shop.runs("2026-03-02", 10, kg=200)
        found = item("2026-03-11")
        # 0.2 mm in 10 t, 2 t since: another 8 t or so until 0.4 mm, at 200 kg a day.
        assert found.basis == "measured"
        assert found.left_kg == pytest.approx(8_000, rel=0.25)

    def test_only_the_edge_that_was_fitted_first_had_worked_before(self, shop: Shop) -> None:
        die = used(shop, die_type(shop, edges=2, new_mm=8.0, limit_mm=8.4), kg=10_000)
        shop.rule("replace", "replace", kind="die", at_limit=True)
        shop.fit(die, "2026-03-01", "2026-03-05", edge="A", position="die")
        shop.fit(die, "2026-03-05", edge="B", position="die")
        shop.runs("2026-03-01", 8, kg=500)
        edges = Edges(load(day("2026-03-08")))
        assert {edge: used.now_kg.sum() for (_, edge), used in edges.used.items()} == {
            "A": pytest.approx(12_000),
            "B": pytest.approx(2_000),
        }

    def test_its_crop_is_not_known_so_it_is_spread_over_the_crops_of_the_part(self, shop: Shop) -> None:
        for crop in ("rapeseed", "sunflower", "hemp"):
            shop.crop(crop)
        die = used(shop, die_type(shop, for_crops="rapeseed hemp"), kg=10_000)
        shop.fit(die, "2026-03-01", position="die")
        record = load(day("2026-03-08"))
        (edge,) = Edges(record).used.values()
        assert dict(zip(record.crops, edge.now_kg.tolist(), strict=True)) == {
            "rapeseed": 5_000.0,
            "sunflower": 0.0,
            "hemp": 5_000.0,
        }
