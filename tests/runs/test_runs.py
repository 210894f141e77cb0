"""Times and hours of runs, running runs, twins, and what pages ask for."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

import pytest

from tests.dates import at
from tests.mills.logbook_mill import NOW, SmallMill, codes, message, small_mill
from wearlog.logbook import actions
from wearlog.people.refusals import Doubtful, Refused
from wearlog.runs import hours, queries
from wearlog.runs.models import Reading, Run

__all__ = ["small_mill"]


def stop(mill: SmallMill, run: Run, ended_at: datetime, **more: object) -> Run:
    values = {"seed_kg": Decimal(400), **more}
    return actions.stop_run(by=mill.by, at=NOW, run_id=run.pk, ended_at=ended_at, **values)  # type: ignore[arg-type]


def test_hours_without_times_end_now_and_begin_so_many_hours_before(small_mill: SmallMill) -> None:
    run = small_mill.log(hours_h=Decimal("7.5"))
    assert (run.started_at, run.ended_at, run.hours_h) == (at("2026-03-10 10:30"), NOW, Decimal("7.5"))


def test_hours_with_a_start_keep_the_end_open_and_derive_it(small_mill: SmallMill) -> None:
    run = small_mill.log(started_at=at("2026-03-09 06:00"), hours_h=Decimal("7.5"))
    assert (run.ended_at, run.ends_at) == (None, at("2026-03-09 13:30"))


def test_neither_hours_nor_end_begins_a_run_that_goes_on(small_mill: SmallMill) -> None:
    run = small_mill.log(seed_kg=Decimal(0))
    assert (run.started_at, run.ends_at) == (NOW, None)
    assert list(queries.running_runs()) == [run]


def test_an_end_alone_asks_for_the_start(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="Give the start of the run, its hours, or the meter"):
        small_mill.log(ended_at=NOW)


def test_a_running_run_is_stopped_with_seed_and_meter(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-09 05:00", "1000")
    run = small_mill.log(started_at=at("2026-03-09 06:00"), seed_kg=Decimal(0))
    ended = stop(small_mill, run, at("2026-03-09 14:00"), meter_h=Decimal("1007.5"), oil_kg=Decimal(130))
    assert (ended.ends_at, ended.hours_h, ended.oil_kg) == (at("2026-03-09 14:00"), None, 130)
    assert hours.of_run(ended).hours_h == pytest.approx(7.5)
    assert not queries.running_runs().exists()


def test_the_same_stop_twice_is_one_and_another_is_refused(small_mill: SmallMill) -> None:
    run = small_mill.log(started_at=at("2026-03-09 06:00"), seed_kg=Decimal(0))
    first = stop(small_mill, run, at("2026-03-09 14:00"))
    assert stop(small_mill, run, at("2026-03-09 14:00")).pk == first.pk
    with pytest.raises(Refused) as caught:
        stop(small_mill, run, at("2026-03-09 15:00"))
    assert "already ended, on 9 March 2026, 15:00 by Olga" in message(caught)


def test_a_stop_before_the_start_is_refused(small_mill: SmallMill) -> None:
    run = small_mill.log(started_at=at("2026-03-09 06:00"), seed_kg=Decimal(0))
    with pytest.raises(Refused, match="Give a later end"):
        stop(small_mill, run, at("2026-03-09 06:00"))


def test_a_stop_with_more_hours_than_the_clock_asks(small_mill: SmallMill) -> None:
    run = small_mill.log(started_at=at("2026-03-09 06:00"), seed_kg=Decimal(0))
    with pytest.raises(Doubtful) as caught:
        stop(small_mill, run, at("2026-03-09 14:00"), hours_h=Decimal(80))
    assert codes(caught) == ["more_hours_than_clock"]


def test_the_two_barrels_of_a_twin_press_at_the_same_time(small_mill: SmallMill) -> None:
    left = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", press_id=small_mill.twin.pk, through="left")
    right = small_mill.run(
        "2026-03-09 07:00", "2026-03-09 15:00", press_id=small_mill.twin.pk, through="right"
    )
    assert (left.slot, right.slot) == (1, 2)
    with pytest.raises(Refused, match="already pressing"):
        small_mill.run("2026-03-09 13:00", "2026-03-09 16:00", press_id=small_mill.twin.pk)


def test_naming_both_barrels_is_the_whole_press(small_mill: SmallMill) -> None:
    run = small_mill.run(
        "2026-03-09 06:00", "2026-03-09 14:00", press_id=small_mill.twin.pk, through="left right"
    )
    assert run.slot == 0


def test_the_first_reading_can_not_tell_the_hours(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="first reading of the meter of P1"):
        small_mill.log(meter_h=Decimal(1200))
    run = small_mill.log(meter_h=Decimal(1200), started_at=at("2026-03-10 08:00"))
    assert (run.ended_at, hours.of_run(run).hours_h) == (NOW, pytest.approx(10))


def test_a_new_meter_at_the_end_of_a_run_needs_its_hours(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-09 05:00", "1200")
    with pytest.raises(Refused, match="A new meter can't tell"):
        small_mill.log(meter_h=Decimal(0), new_meter=True)
    run = small_mill.log(meter_h=Decimal(0), new_meter=True, hours_h=Decimal(6))
    assert hours.of_run(run).hours_h == pytest.approx(6)
    assert Reading.objects.get(read_at=NOW).kind == "new_meter"


def test_the_meter_counts_on_after_a_new_meter(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-08 05:00", "1200")
    small_mill.read("2026-03-09 05:00", "3", new_meter=True)
    run = small_mill.log(ended_at=at("2026-03-09 15:00"), meter_h=Decimal("11.5"))
    assert hours.of_run(run).hours_h == pytest.approx(8.5)


def test_a_meter_below_the_last_reading_is_asked_back_with_what_it_showed(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-09 05:00", "1200")
    with pytest.raises(Doubtful) as caught:
        small_mill.log(meter_h=Decimal(120))
    assert codes(caught) == ["meter_went_back"]
    with pytest.raises(Refused, match="showed 1200 h on 9 March 2026, 06:00, more than 120 h"):
        small_mill.log(meter_h=Decimal(120), confirmed=("meter_went_back",))
    run = small_mill.log(meter_h=Decimal(120), hours_h=Decimal(5), confirmed=("meter_went_back",))
    assert hours.of_run(run).hours_h == pytest.approx(5)


def test_a_meter_read_with_start_and_hours_was_read_at_their_end(small_mill: SmallMill) -> None:
    run = small_mill.log(started_at=at("2026-03-09 06:00"), hours_h=Decimal(8), meter_h=Decimal(1200))
    assert run.ended_at == at("2026-03-09 14:00")
    assert Reading.objects.get().read_at == at("2026-03-09 14:00")


def test_runs_logged_by_the_clock_since_the_last_reading_are_not_counted_twice(
    small_mill: SmallMill,
) -> None:
    small_mill.read("2026-03-09 05:00", "1000")
    small_mill.run("2026-03-09 06:00", "2026-03-09 10:00", 200)
    # The meter advanced 10 h, 4 of them in the run before: 6 h are this run's.
    run = small_mill.log(ended_at=at("2026-03-09 20:00"), meter_h=Decimal(1010), seed_kg=Decimal(300))
    assert (run.hours_h, run.started_at) == (None, at("2026-03-09 14:00"))
    assert hours.of_run(run).hours_h == pytest.approx(6)


def test_hours_of_many_runs_are_the_hours_of_each(small_mill: SmallMill) -> None:
    small_mill.read("2026-03-02 05:00", "100")
    runs = [
        small_mill.log(ended_at=at("2026-03-02 14:00"), meter_h=Decimal("107.5")),
        small_mill.run("2026-03-03 06:00", "2026-03-03 14:00"),
        small_mill.run("2026-03-04 06:00", "2026-03-04 14:00", hours_h=Decimal("7.25")),
        small_mill.log(started_at=at("2026-03-05 06:00")),
    ]
    assert [each.hours_h for each in hours.of_runs(runs)] == [
        pytest.approx(7.5),
        pytest.approx(8),
        pytest.approx(7.25),
        None,
    ]


def test_the_usual_rate_needs_three_runs_and_is_their_median(small_mill: SmallMill) -> None:
    small_mill.run("2026-03-02 06:00", "2026-03-02 14:00", 400)
    small_mill.run("2026-03-03 06:00", "2026-03-03 14:00", 440)
    assert queries.usual_rate(small_mill.press, small_mill.rape) is None
    small_mill.run("2026-03-04 06:00", "2026-03-04 14:00", 800)
    usual = queries.usual_rate(small_mill.press, small_mill.rape)
    assert usual is not None
    assert (usual.kg_per_h, usual.runs) == (pytest.approx(55), 3)


def test_the_usual_rate_takes_few_queries_however_many_runs(
    small_mill: SmallMill, django_assert_max_num_queries: object
) -> None:
    small_mill.read("2026-03-01 20:00", "100")
    for day in range(2, 10):
        small_mill.log(ended_at=at(f"2026-03-0{day} 14:00"), meter_h=Decimal(100 + 8 * (day - 1)))
    with django_assert_max_num_queries(6):  # type: ignore[operator]
        assert queries.usual_rate(small_mill.press, small_mill.rape) is not None


def test_last_run_last_reading_and_last_note(small_mill: SmallMill) -> None:
    small_mill.run("2026-03-08 06:00", "2026-03-08 14:00")
    last = small_mill.run("2026-03-09 06:00", "2026-03-09 14:00", crop_id=small_mill.flax.pk)
    small_mill.read("2026-03-08 20:00", "10")
    reading = small_mill.read("2026-03-09 20:00", "20")
    actions.leave_note(by=small_mill.by, at=NOW, text="for all", by_name="Olga")
    note = actions.leave_note(
        by=small_mill.by, at=NOW, text="for P3", by_name="Olga", press_id=small_mill.other.pk
    )
    assert queries.last_run(small_mill.press) == last
    assert queries.last_crop(small_mill.press) == small_mill.flax
    assert queries.last_crop(small_mill.press, at=at("2026-03-08 20:00")) == small_mill.rape
    assert queries.last_reading(small_mill.press) == reading
    assert queries.last_shift_note(small_mill.other) == note
    assert str(queries.last_shift_note(small_mill.press)) == "for all"
