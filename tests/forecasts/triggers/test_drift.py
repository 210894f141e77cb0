"""A rule on drift: output per hour that falls within its class makes the work due."""

from __future__ import annotations

from datetime import date

from tests.mills.falling_output import some_runs, the_rule
from tests.mills.forecast_shop import Shop, item, items


def test_output_that_falls_makes_the_work_due_and_says_by_how_much_and_where_to_look(shop: Shop) -> None:
    the_rule(shop)
    some_runs(shop, "2026-03-01", 20)
    some_runs(shop, "2026-03-21", 15, part=0.8)
    found = item("2026-04-04")
    assert (found.trigger, found.basis) == ("drift", "measured")
    assert found.state in ("due", "overdue")
    # The fall began on the 21st; an average that forgets slowly tells it within days.
    assert found.due_on is not None
    assert date(2026, 3, 21) <= found.due_on <= date(2026, 3, 25)
    assert found.early_on == found.late_on == found.due_on
    assert "% below its own usual" in found.why
    assert "seed, settings, fouling, wear" in found.why


def test_a_steady_press_has_nothing_due(shop: Shop) -> None:
    the_rule(shop)
    some_runs(shop, "2026-03-01", 35)
    found = item("2026-04-04")
    assert (found.state, found.due_on, found.basis) == ("later", None, "measured")


def test_too_few_runs_can_t_be_told(shop: Shop) -> None:
    the_rule(shop)
    some_runs(shop, "2026-03-01", 5)
    found = item("2026-04-04")
    assert (found.state, found.basis) == ("unknown", "none")
    assert "at most 5 runs in one class" in found.why


def test_a_slower_crop_is_no_drift(shop: Shop) -> None:
    the_rule(shop)
    some_runs(shop, "2026-03-01", 20)
    some_runs(shop, "2026-03-21", 15, part=0.6, crop="hemp")
    assert item("2026-04-04").state == "later"


def test_a_smaller_die_is_no_drift(shop: Shop) -> None:
    the_rule(shop)
    large, small = shop.type("D6", "die", size_mm=6.0), shop.type("D5", "die", size_mm=5.0)
    shop.fit(shop.part("D1", large), "2026-03-01", "2026-03-21", position="die")
    shop.fit(shop.part("D2", small), "2026-03-21", position="die")
    some_runs(shop, "2026-03-01", 20)
    some_runs(shop, "2026-03-21", 15, part=0.8)
    assert item("2026-04-04").state == "later"


def test_a_slower_drive_is_no_drift(shop: Shop) -> None:
    the_rule(shop)
    for run in some_runs(shop, "2026-03-01", 20):
        run.drive_hz = 50
        run.save()
    for run in some_runs(shop, "2026-03-21", 15, part=0.8):
        run.drive_hz = 40
        run.save()
    assert item("2026-04-04").state == "later"


def test_purge_runs_are_left_out(shop: Shop) -> None:
    the_rule(shop)
    some_runs(shop, "2026-03-01", 20)
    for run in some_runs(shop, "2026-03-21", 15, part=0.5):
        run.purge = True
        run.save()
    assert item("2026-04-04").state == "later"


def test_the_work_that_the_rule_asks_for_begins_a_new_baseline(shop: Shop) -> None:
    the_rule(shop)
    some_runs(shop, "2026-03-01", 20)
    some_runs(shop, "2026-03-21", 15, part=0.8)
    shop.serve("2026-04-05 00:00", "inspect")
    assert item("2026-04-05").state == "unknown"
    some_runs(shop, "2026-04-05", 15, part=0.8)
    assert item("2026-04-19").state == "later"


def test_a_screw_is_judged_by_the_runs_it_was_there_for(shop: Shop) -> None:
    shop.rule("screw tires", "inspect", kind="screw", on_drift=True)
    kind = shop.type("S", "screw")
    shop.fit(shop.part("S1", kind), "2026-03-01", "2026-03-21")
    shop.fit(shop.part("S2", kind), "2026-03-21")
    some_runs(shop, "2026-03-01", 20)
    some_runs(shop, "2026-03-21", 15, part=0.8)
    [found] = items("2026-04-04")
    assert (found.part, found.state) == ("S2", "later")
