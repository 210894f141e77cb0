"""Seed that was guessed: it wears parts like any other, shows in the reason, and is no measure of output."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.mills.falling_output import some_runs, the_rule
from tests.mills.forecast_shop import Shop, day, item
from wearlog.forecasts.campaign import stop_at
from wearlog.forecasts.guessed import Guessed
from wearlog.runs.models import Run, SeedHow


def guess(count: int, how: str = "about") -> None:
    """Say of the latest runs that their seed was guessed."""
    for run in Run.objects.order_by("-started_at")[:count]:
        Run.objects.filter(pk=run.pk).update(seed_how=how)


def a_polish_by_the_tonne(shop: Shop) -> None:
    kind = shop.type("screw-70", "screw")
    shop.fit(shop.part("S1", kind), "2026-03-01")
    shop.rule("polish", "polish", kind="screw", every_kg=9000)


@pytest.mark.parametrize("how", ["about", "worked_out"])
def test_a_reason_by_the_tonne_says_how_many_runs_were_guessed(shop: Shop, how: str) -> None:
    a_polish_by_the_tonne(shop)
    shop.runs("2026-03-01", 9)
    guess(2, how)
    found = item("2026-03-09")
    assert found.why.endswith(" 2 of the 9 runs that this rests on were guessed.")
    assert found.left_kg == pytest.approx(4500)


def test_below_a_tenth_of_the_seed_nothing_is_said(shop: Shop) -> None:
    a_polish_by_the_tonne(shop)
    shop.runs("2026-03-01", 11)
    guess(1)
    assert "guessed" not in item("2026-03-11").why


def test_only_runs_since_the_last_polish_are_counted(shop: Shop) -> None:
    a_polish_by_the_tonne(shop)
    shop.runs("2026-03-01", 4)
    guess(4)
    shop.serve("2026-03-05", "polish", position="screw")
    shop.runs("2026-03-05", 3)
    assert "guessed" not in item("2026-03-07").why
    guess(1)
    assert "1 of the 3 runs" in item("2026-03-07").why


def test_a_wear_limit_says_it_of_the_edge_that_it_is_about(shop: Shop) -> None:
    kind = shop.type("die-5", "die", edges=2, new_mm=5.0, limit_mm=5.4, expected_life_kg=30000.0)
    part = shop.part("D1", kind)
    shop.fit(part, "2026-03-01", "2026-03-05", edge="A", position="die")
    shop.runs("2026-03-01", 4)
    guess(4)
    shop.fit(part, "2026-03-05", edge="B", position="die")
    shop.runs("2026-03-05", 4)
    shop.rule("flip at the limit", "flip", kind="die", at_limit=True)
    assert "guessed" not in item("2026-03-08").why
    guess(1)
    assert "1 of the 4 runs that this rests on were guessed." in item("2026-03-08").why


def test_a_barrel_counts_its_own_runs_alone(shop: Shop) -> None:
    for side in ("left", "right"):
        shop.position(name=f"{side} screw", barrel=side, share=0.5)
    shop.fit(shop.part("S1", shop.type("screw-70", "screw")), "2026-03-01", position="left screw")
    shop.rule("polish", "polish", kind="screw", every_kg=9000)
    shop.run("2026-03-02 06:00", 8, 400, through="left")
    shop.run("2026-03-02 06:00", 8, 400, through="right")
    guess(2)
    assert "1 of the 1 run that this rests on was guessed." in item("2026-03-03").why


def test_a_rule_by_the_hour_or_the_day_says_nothing_of_seed(shop: Shop) -> None:
    shop.rule("grease", "lubricate", every_h=100)
    shop.runs("2026-03-01", 3)
    guess(3)
    assert "guessed" not in item("2026-03-03").why


@pytest.mark.parametrize("how", ["about", "worked_out"])
def test_guessed_seed_is_no_drift(shop: Shop, how: str) -> None:
    """The same fall that is told where it was weighed: 15 runs at 80 %."""
    the_rule(shop)
    some_runs(shop, "2026-03-01", 20)
    some_runs(shop, "2026-03-21", 15, part=0.8)
    assert item("2026-04-04").state in ("due", "overdue")
    guess(15, how)
    found = item("2026-04-04")
    assert (found.state, found.due_on) == ("later", None)


def test_what_was_worked_out_changes_no_pace_in_hours(shop: Shop) -> None:
    """10 h for 500 kg, then one run worked out at a hundredth of that pace: 4,000 h still take 200 t."""
    shop.runs("2026-03-01", 10)
    shop.rule("gears", "inspect", every_h=4100)
    before = item("2026-03-10").left_kg
    shop.run("2026-03-11 06:00", 10, 5)
    Run.objects.filter(seed_kg=5).update(seed_how=SeedHow.WORKED_OUT)
    after = item("2026-03-11").left_kg
    assert before == pytest.approx(200_000)
    assert after == pytest.approx(199_500)


def test_the_share_is_of_the_seed_and_not_of_the_runs() -> None:
    assert not Guessed(runs=5, of_runs=10, seed_kg=90.0, of_seed_kg=1000.0).is_noticeable
    assert Guessed(runs=1, of_runs=10, seed_kg=100.0, of_seed_kg=1000.0).is_noticeable
    assert Guessed(runs=0, of_runs=0, seed_kg=0.0, of_seed_kg=0.0).words() == ""


def test_a_stop_tells_it_too(shop: Shop) -> None:
    a_polish_by_the_tonne(shop)
    shop.runs("2026-03-01", 9)
    guess(3)
    listed = stop_at(shop.press().pk, as_of=day("2026-03-09")).items.listed
    assert [one.why.endswith("3 of the 9 runs that this rests on were guessed.") for one in listed] == [True]
    assert date(2026, 3, 9) + timedelta(days=9) == listed[0].due_on
