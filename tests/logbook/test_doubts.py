"""What looks wrong asks and is taken when confirmed; what can't be is refused."""

from __future__ import annotations

from decimal import Decimal

import pytest

from tests.dates import at
from tests.mills.logbook_mill import NOW, SmallMill, codes, message, small_mill
from wearlog.equipment.models import Press
from wearlog.logbook import actions
from wearlog.logbook.entries import NewMeasurement
from wearlog.people.refusals import Doubtful, Refused
from wearlog.runs.models import Run

__all__ = ["small_mill"]


def usual_pace(mill: SmallMill) -> None:
    """Four runs of eight hours with 400 kg: 50 kg an hour."""
    for day in range(2, 6):
        mill.run(f"2026-03-0{day} 06:00", f"2026-03-0{day} 14:00", 400)


def test_a_plain_run_asks_nothing(small_mill: SmallMill) -> None:
    usual_pace(small_mill)
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", 400)
    assert Run.objects.not_voided().count() == 5
    assert run.ends_at == at("2026-03-09 14:00")


def test_more_hours_than_between_start_and_end_ask(small_mill: SmallMill) -> None:
    with pytest.raises(Doubtful) as caught:
        small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", hours_h=Decimal("80"))
    assert codes(caught) == ["more_hours_than_clock"]
    assert Run.objects.count() == 0
    run = small_mill.run(
        "2026-03-09 06:00", "2026-03-09 14:00", hours_h=Decimal("80"), confirmed=["more_hours_than_clock"]
    )
    assert run.hours_h == 80


def test_twelve_minutes_more_than_the_clock_are_rounding(small_mill: SmallMill) -> None:
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", hours_h=Decimal("8.2"))
    assert run.hours_h == Decimal("8.2")


def test_more_hours_than_since_the_last_run_ask_and_begin_at_its_end(small_mill: SmallMill) -> None:
    small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    late = {"ended_at": at("2026-03-09 20:00"), "hours_h": Decimal("16"), "seed_kg": Decimal(800)}
    with pytest.raises(Doubtful) as caught:
        small_mill.log(**late)
    assert codes(caught) == ["more_hours_than_clock"]
    run = small_mill.log(**late, confirmed=("more_hours_than_clock",))
    assert (run.started_at, run.hours_h) == (at("2026-03-09 14:00"), 16)


def test_hours_that_just_fill_the_time_since_the_last_run_ask_nothing(small_mill: SmallMill) -> None:
    small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    run = small_mill.log(ended_at=at("2026-03-09 20:00"), hours_h=Decimal("6.1"), seed_kg=Decimal(300))
    assert run.started_at == at("2026-03-09 14:00")


def test_a_meter_that_goes_back_asks_and_is_kept_when_confirmed(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-08 06:00", "1200")
    with pytest.raises(Doubtful) as caught:
        small_mill.read("2026-03-09 06:00", "120")
    assert codes(caught) == ["meter_went_back"]
    assert "If the meter was replaced, say new meter" in str(caught.value)
    kept = small_mill.read("2026-03-09 06:00", "120", confirmed=["meter_went_back"])
    assert kept.kind == "reading"


def test_a_new_meter_may_begin_at_nought(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-08 06:00", "1200")
    assert small_mill.read("2026-03-09 06:00", "0", new_meter=True).kind == "new_meter"


def test_a_meter_that_outruns_the_clock_asks(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-08 06:00", "1200")
    with pytest.raises(Doubtful) as caught:
        small_mill.read("2026-03-09 06:00", "1225")
    assert codes(caught) == ["more_hours_than_clock"]


def test_a_late_reading_is_compared_with_the_one_after_it(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-09 06:00", "1200")
    with pytest.raises(Doubtful) as caught:
        small_mill.read("2026-03-08 06:00", "1300")
    assert codes(caught) == ["meter_went_back"]


def test_a_reading_at_the_same_instant_with_another_value_is_refused(small_mill: SmallMill) -> None:
    first = small_mill.read("2026-03-09 06:00", "1200")
    assert small_mill.read("2026-03-09 06:00", "1200.0").pk == first.pk
    with pytest.raises(Refused, match="already read"):
        small_mill.read("2026-03-09 06:00", "1201")


@pytest.mark.parametrize(
    ("kg", "code"),
    [
        ("800", "twice_the_rate"),  # 100 kg/h against 50
        ("1400", "twice_the_rate"),
        ("200", "half_the_rate"),  # 25 kg/h against 50
        ("120", "half_the_rate"),
        ("882", "unit_looks_wrong"),  # 400 kg typed as their pounds
        ("181.4", "unit_looks_wrong"),  # 400 lb turned into kilograms
        ("0.4", "unit_looks_wrong"),  # tonnes typed as kilograms
        ("400000", "unit_looks_wrong"),
    ],
)
def test_a_pace_far_from_the_usual_asks(small_mill: SmallMill, kg: str, code: str) -> None:
    usual_pace(small_mill)
    with pytest.raises(Doubtful) as caught:
        small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", kg)
    assert codes(caught) == [code]
    assert caught.value.doubts[0].field == "seed_kg"
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", kg, confirmed=[code])
    assert run.seed_kg == Decimal(kg)


@pytest.mark.parametrize("kg", ["230", "780"])
def test_a_pace_within_half_and_twice_the_usual_asks_nothing(small_mill: SmallMill, kg: str) -> None:
    usual_pace(small_mill)
    assert small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", kg).seed_kg == Decimal(kg)


def test_another_crop_has_its_own_pace(small_mill: SmallMill) -> None:
    usual_pace(small_mill)
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", "120", crop_id=small_mill.flax.pk)
    assert run.crop == small_mill.flax


def test_purge_seed_has_no_pace(small_mill: SmallMill) -> None:
    usual_pace(small_mill)
    assert small_mill.run("2026-03-09 06:00", "2026-03-09 07:00", "8", purge=True).purge


def test_a_first_run_at_an_impossible_pace_asks_for_the_unit(small_mill: SmallMill) -> None:
    with pytest.raises(Doubtful) as caught:
        small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", "0.4")
    assert codes(caught) == ["unit_looks_wrong"]


def test_the_pace_of_runs_by_the_meter_is_by_the_meter(small_mill: SmallMill) -> None:
    # Four runs that took 4 hours of the meter within 8 hours of the clock: 100 kg an hour.
    small_mill.read("2026-03-01 20:00", "100")
    for day in range(2, 6):
        small_mill.log(
            started_at=at(f"2026-03-0{day} 06:00"),
            ended_at=at(f"2026-03-0{day} 14:00"),
            meter_h=Decimal(100 + 4 * (day - 1)),
        )
    with pytest.raises(Doubtful) as caught:
        small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", 400)
    assert codes(caught) == ["half_the_rate"]


def test_a_run_that_ends_ahead_asks(small_mill: SmallMill) -> None:
    with pytest.raises(Doubtful) as caught:
        small_mill.run("2026-03-10 12:00", "2026-03-10 20:00")
    assert codes(caught) == ["in_the_future"]
    run = small_mill.run("2026-03-10 12:00", "2026-03-10 20:00", confirmed=["in_the_future"])
    assert run.ends_at == at("2026-03-10 20:00")


def test_a_phone_clock_ten_minutes_fast_asks_nothing(small_mill: SmallMill) -> None:
    assert small_mill.run("2026-03-10 12:00", "2026-03-10 18:10").pk


def test_all_doubts_are_asked_at_once_and_confirmed_together(small_mill: SmallMill) -> None:
    usual_pace(small_mill)
    with pytest.raises(Doubtful) as caught:
        small_mill.run("2026-03-10 12:00", "2026-03-10 20:00", 1200)
    assert codes(caught) == ["in_the_future", "twice_the_rate"]
    with pytest.raises(Doubtful) as caught:
        small_mill.run("2026-03-10 12:00", "2026-03-10 20:00", 1200, confirmed=["in_the_future"])
    assert codes(caught) == ["twice_the_rate"]


def test_a_run_while_no_die_was_logged_asks(small_mill: SmallMill) -> None:
    actions.take_off(
        by=small_mill.by,
        at=NOW,
        expected_fitting_id=small_mill.die_fitting.pk,
        removed_at=at("2026-03-09 05:00"),
    )
    with pytest.raises(Doubtful) as caught:
        small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    assert codes(caught) == ["overlaps_gap"]
    assert small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", confirmed=["overlaps_gap"]).pk


def test_a_run_before_the_first_logged_fitting_asks_nothing(small_mill: SmallMill) -> None:
    assert small_mill.run("2026-02-20 06:00", "2026-02-20 14:00").pk


def test_overlap_is_refused_with_the_run_in_the_way(small_mill: SmallMill) -> None:
    small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", ref="R-12")
    with pytest.raises(Refused) as caught:
        small_mill.run("2026-03-09 13:59", "2026-03-09 16:00")
    # UTC+1 in Vienna in March.
    assert message(caught) == (
        "P1 was already pressing rape from 9 March 2026, 07:00 to 9 March 2026, 15:00 (run R-12). "
        "Change the times, or correct that run first."
    )


def test_a_run_that_begins_when_the_last_ended_is_no_overlap(small_mill: SmallMill) -> None:
    small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    assert small_mill.run("2026-03-09 14:00", "2026-03-09 16:00", 100).pk


def test_a_running_run_blocks_a_later_one(small_mill: SmallMill) -> None:
    small_mill.log(started_at=at("2026-03-09 06:00"))
    with pytest.raises(Refused, match=r"is still pressing rape since .* End that run first"):
        small_mill.run("2026-03-09 20:00", "2026-03-09 22:00", 100)


@pytest.mark.parametrize("name", ["seed_kg", "oil_kg", "cake_kg", "hours_h", "motor_a"])
def test_negative_numbers_are_refused_by_field(small_mill: SmallMill, name: str) -> None:
    with pytest.raises(Refused, match="Write a number from 0 to") as caught:
        small_mill.log(
            started_at=at("2026-03-09 06:00"), ended_at=at("2026-03-09 14:00"), **{name: Decimal(-1)}
        )
    assert caught.value.field == name


def test_more_than_a_hundred_per_cent_is_refused(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="Seed moisture: Write a number from 0 to 100 %"):
        small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", moisture_pct=Decimal(101))


def test_an_end_before_the_start_is_refused(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="lies before the start"):
        small_mill.run("2026-03-09 14:00", "2026-03-09 06:00")


def test_a_retired_press_and_an_unknown_crop_are_refused(small_mill: SmallMill) -> None:
    Press.objects.filter(pk=small_mill.press.pk).update(retired_on="2026-03-05")
    with pytest.raises(Refused, match="P1 was retired on 5 March 2026"):
        small_mill.run("2026-03-09 06:00", "2026-03-09 14:00")
    with pytest.raises(Refused, match="no such crop"):
        small_mill.run("2026-03-04 06:00", "2026-03-04 14:00", crop_id=999_999)


def test_a_barrel_that_the_press_does_not_have_is_refused(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match=r"P2 has no barrel 'middle'\. It has left, right\."):
        small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", press_id=small_mill.twin.pk, through="middle")


def test_pounds_with_many_decimals_are_rounded_to_what_is_kept(small_mill: SmallMill) -> None:
    # 1001.5 lb are 454.272758555 kg exactly (1 lb = 0.45359237 kg, NIST SP 811).
    run = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", "454.272758555")
    assert run.seed_kg == Decimal("454.272759")


def gauge(mill: SmallMill, value: str, *, place: str = "", confirmed: tuple[str, ...] = ()) -> None:
    actions.log_measurement(
        by=mill.by,
        at=NOW,
        part_id=mill.die.pk,
        edge="A",
        measured_at=at("2026-03-09 10:00") if Decimal(value) < Decimal("5.2") else at("2026-03-09 11:00"),
        measurement=NewMeasurement(value_mm=Decimal(value), place=place),
        confirmed=confirmed,
    )


def test_a_gauge_far_off_the_last_asks(small_mill: SmallMill) -> None:
    gauge(small_mill, "5.1")
    with pytest.raises(Doubtful) as caught:
        gauge(small_mill, "6.1")
    assert codes(caught) == ["large_step"]
    gauge(small_mill, "6.1", confirmed=("large_step",))


def test_a_gauge_near_the_last_or_elsewhere_asks_nothing(small_mill: SmallMill) -> None:
    gauge(small_mill, "5.1")
    gauge(small_mill, "5.3")
    gauge(small_mill, "5.6", place="mouth")


def test_a_first_gauge_in_inches_is_asked_about(small_mill: SmallMill) -> None:
    with pytest.raises(Doubtful, match="It looks like inches"):
        gauge(small_mill, "0.197")
