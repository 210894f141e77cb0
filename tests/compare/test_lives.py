"""How long parts last, from a mill's own log."""

from __future__ import annotations

from datetime import date

import pytest

from tests.mills.forecast_shop import Shop
from wearlog.compare.reliability import AgeUnit, Ended, Statement, TypeLives, type_lives
from wearlog.equipment.models import Part, PartType
from wearlog.history.record import load

AS_OF = date(2026, 12, 31)


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop()


def of(code: str, as_of: date = AS_OF) -> TypeLives:
    (found,) = [one for one in type_lives(load(as_of)) if one.type.code == code]
    return found


def ends(lives: TypeLives) -> dict[str, Ended]:
    return {one.part.code: one.ended for one in lives.lived}


def bearings(shop: Shop, ages: list[int], *, because: str = "broken") -> PartType:
    """Bearings that ran 10 h a day for so many days, one after another, on a press that runs each day."""
    kind = shop.type("bearing", "bearing", expected_life_h=9000.0)
    first = date(2026, 1, 1).toordinal()
    shop.runs("2026-01-01", sum(ages) + 20)
    for number, days in enumerate(ages):
        over = date.fromordinal(first + days)
        part = shop.part(f"B{number}", kind, retired_on=over, retired_because=because)
        shop.fit(part, f"{date.fromordinal(first)} 00:00", f"{over} 00:00", position="bearing")
        first += days
    return kind


def test_an_age_is_what_the_press_worked_while_the_part_sat_on_it(shop: Shop) -> None:
    bearings(shop, [3])
    (one,) = of("bearing").lived
    assert (one.hours_h, one.seed_kg) == (30.0, 1500.0)  # 3 days of 10 h and 500 kg
    assert of("bearing").by is AgeUnit.HOURS


def test_work_before_the_log_is_part_of_the_age_of_a_part_that_worked_here_too(shop: Shop) -> None:
    kind = bearings(shop, [3])
    Part.objects.update(used_h=200, used_kg=9000)
    shop.part("on the shelf", kind, used_h=400)
    (one,) = of("bearing").lived
    assert (one.hours_h, one.seed_kg) == (230.0, 10_500.0)


def test_broken_and_worn_without_a_limit_are_failures(shop: Shop) -> None:
    kind = bearings(shop, [3, 4])
    shop.fit(shop.part("worn", kind, retired_on=date(2026, 1, 12), retired_because="worn"), "2026-01-08",
             "2026-01-12", position="bearing")  # fmt: skip
    assert ends(of("bearing")) == {"B0": Ended.FAILED, "B1": Ended.FAILED, "worn": Ended.FAILED}


def test_a_part_taken_off_at_its_gauged_limit_has_not_failed(shop: Shop) -> None:
    die = shop.type("D5", "die", new_mm=5.0, limit_mm=5.4)
    shop.runs("2026-01-01", 60)
    for code, gauged in (("gauged", True), ("unseen", False)):
        part = shop.part(code, die, retired_on=date(2026, 2, 1), retired_because="worn")
        shop.fit(part, "2026-01-01", "2026-02-01", position=f"{code} die")
        if gauged:
            shop.gauge("2026-01-31 18:00", part, 5.41)
    assert ends(of("D5")) == {"gauged": Ended.AT_LIMIT, "unseen": Ended.FAILED}


def test_a_worn_part_that_came_off_while_the_press_stood_still_is_censored(shop: Shop) -> None:
    belt = shop.type("belt", "belt")
    shop.runs("2026-01-01", 30)
    shop.runs("2026-06-01", 5)
    for code, off in (("at the end", "2026-01-31"), ("later", "2026-03-15"), ("in season", "2026-01-20")):
        part = shop.part(code, belt, retired_on=date.fromisoformat(off), retired_because="worn")
        shop.fit(part, "2026-01-01", off, position=f"{code} belt")
    assert ends(of("belt")) == {
        "at the end": Ended.OFF_SEASON,
        "later": Ended.OFF_SEASON,
        "in season": Ended.FAILED,
    }


def test_a_part_that_breaks_on_the_last_day_of_the_season_has_failed_all_the_same(shop: Shop) -> None:
    bearings(shop, [3])
    shop.runs("2026-06-01", 2)
    assert ends(of("bearing")) == {"B0": Ended.FAILED}


@pytest.mark.parametrize("because", ["lost", "remade", "other", ""])
def test_what_was_retired_otherwise_is_cut_short(shop: Shop, because: str) -> None:
    bearings(shop, [3], because=because)
    assert ends(of("bearing")) == {"B0": Ended.CUT_SHORT}


def test_a_rebuild_ends_one_life_and_begins_another(shop: Shop) -> None:
    screw = shop.type("SC60", "screw", new_mm=60.0, limit_mm=59.0)
    part = shop.part("S1", screw)
    shop.runs("2026-01-01", 10)
    shop.fit(part, "2026-01-01")
    shop.serve("2026-01-07 00:00", "rebuild", part=part)
    lived = of("SC60").lived
    assert [(one.cycle, one.seed_kg, one.ended) for one in lived] == [
        (0, 3000.0, Ended.REBUILT),
        (1, 2000.0, Ended.IN_SERVICE),
    ]


def test_a_part_that_never_worked_is_counted_apart(shop: Shop) -> None:
    kind = bearings(shop, [3])
    shop.part("new one", kind)
    assert (len(of("bearing").lived), of("bearing").unused) == (1, 1)


def test_without_a_failure_there_is_a_lower_limit_under_assumed_shapes_only(shop: Shop) -> None:
    kind = shop.type("bearing", "bearing")
    shop.runs("2026-01-01", 10)
    for number in range(4):
        shop.fit(shop.part(f"B{number}", kind), "2026-01-01", position=f"{number} bearing")
    lives = of("bearing")
    assert (lives.statement, lives.mean, lives.left) == (Statement.FIXED_SHAPE, None, ())
    # Four parts of 100 h, none failed, shape 1: 400 h / -ln(0.05), which is 400 / 2.9957 (chi-square with two
    # degrees of freedom; Nelson 1985, from memory).
    assert lives.life.fixed_shapes[0].one_sided_low == pytest.approx(133.5, abs=0.05)


def test_three_failures_give_a_curve_but_no_mean_life(shop: Shop) -> None:
    bearings(shop, [10, 14, 19])
    assert (of("bearing").statement, of("bearing").mean) == (Statement.FIT, None)


def test_five_failures_give_a_mean_life(shop: Shop) -> None:
    bearings(shop, [10, 14, 19, 12, 16])
    lives = of("bearing")
    assert lives.statement is Statement.MEAN
    # The mean of the ages is 142 h; a Weibull life fitted to all of them, none censored, has about that mean.
    assert lives.mean == pytest.approx(142, rel=0.01)


def test_survival_steps_down_at_each_failure_and_not_at_a_censored_age(shop: Shop) -> None:
    kind = bearings(shop, [10, 20])
    shop.fit(shop.part("spare", kind, retired_on=date(2026, 2, 20), retired_because="lost"), "2026-02-05",
             "2026-02-20", position="bearing")  # fmt: skip
    # Ages 100 F, 150 censored, 200 F: 2/3, then 2/3 * 0/1 (Kaplan and Meier, by hand).
    steps = of("bearing").steps
    assert [(step.age, round(step.survival, 6)) for step in steps] == [(100.0, 0.666667), (200.0, 0.0)]


def test_what_is_left_is_conditional_on_the_age_reached(shop: Shop) -> None:
    kind = bearings(shop, [10, 14, 19, 12, 16])
    shop.runs("2026-06-01", 12)
    shop.fit(shop.part("old", kind), "2026-06-01", position="bearing")
    shop.fit(shop.part("young", kind), "2026-06-11", position="other bearing")
    old, young = of("bearing").left
    assert (old.lived.part.code, young.lived.part.code) == ("old", "young")
    assert 0 < old.early < old.middle < old.late
    assert old.middle < young.middle
    # A part that has reached an age is expected to fail later than a new one is.
    assert old.lived.hours_h + old.middle > young.lived.hours_h + young.middle


def test_nothing_that_was_recorded_later_leaks_into_an_earlier_day(shop: Shop) -> None:
    bearings(shop, [10, 14, 19])
    assert ends(of("bearing", date(2026, 1, 20))) == {"B0": Ended.FAILED, "B1": Ended.IN_SERVICE}
    assert [one.hours_h for one in of("bearing", date(2026, 1, 20)).lived] == [100.0, 100.0]
