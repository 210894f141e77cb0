"""Hours by the press's own rule."""

from __future__ import annotations

from decimal import Decimal

import pytest

from tests.dates import at
from tests.mills.run_maker import RunMaker
from wearlog.compare.queries import compare
from wearlog.equipment.models import Position, Press
from wearlog.people.models import Mill
from wearlog.runs.models import Reading


def read(press: str, when: str, meter_h: str, kind: str = "reading") -> None:
    Reading.objects.create(
        press=Press.objects.get(code=press), read_at=at(when), meter_h=Decimal(meter_h), kind=kind
    )


@pytest.fixture
def metered(mill: Mill) -> Press:
    return Press.objects.create(code="P1", hours_from="meter")


def test_the_clock_counts_where_nothing_else_was_written(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", kg="100", ended_at=at("2026-03-01 10:30"))
    assert compare().total.hours_h == pytest.approx(4.5)


def test_written_hours_win_over_the_clock(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="4", kg="100", ended_at=at("2026-03-01 12:00"))
    assert compare().total.hours_h == pytest.approx(4.0)


def test_a_reading_at_a_runs_end_gives_its_hours_from_the_reading_before(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", kg="100", ended_at=at("2026-03-01 12:00"))
    read("P1", "2026-02-28 18:00", "1000")
    read("P1", "2026-03-01 12:00", "1005.5")
    assert compare().total.hours_h == pytest.approx(5.5)


def test_idle_nights_between_the_readings_of_a_metered_press_belong_to_no_run(
    run: RunMaker, metered: Press
) -> None:
    read("P1", "2026-03-01 18:00", "1000")
    for day in (2, 3, 4):
        run("P1", "flax", f"2026-03-0{day} 06:00", kg="100", ended_at=at(f"2026-03-0{day} 16:00"))
        read("P1", f"2026-03-0{day} 16:00", str(1000 + 9.5 * (day - 1)))
    # 22 or 24 hours of the clock from reading to reading, 9.5 h on the meter, all of them the run's.
    assert compare().total.hours_h == pytest.approx(28.5)


def test_a_metered_press_leaves_a_run_its_written_hours_where_the_meter_counted_more(
    run: RunMaker, metered: Press
) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="6", kg="100")
    read("P1", "2026-03-01 00:00", "1000")
    read("P1", "2026-03-02 00:00", "1012")
    # The other 6 h are unlogged; they make no tonne slower.
    assert compare().total.hours_h == pytest.approx(6.0)


def test_a_metered_press_holds_runs_down_to_what_the_meter_counted(run: RunMaker, metered: Press) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="6", kg="100")
    run("P1", "flax", "2026-03-01 14:00", hours="4", kg="100")
    read("P1", "2026-03-01 00:00", "1000")
    read("P1", "2026-03-02 00:00", "1005")
    assert compare().total.hours_h == pytest.approx(5.0)


def test_a_replaced_meter_goes_on(run: RunMaker, metered: Press) -> None:
    read("P1", "2026-03-01 00:00", "9990")
    run("P1", "flax", "2026-03-01 00:00", kg="100", ended_at=at("2026-03-01 06:00"))
    read("P1", "2026-03-01 06:00", "9995")
    read("P1", "2026-03-01 06:30", "0", kind="new_meter")
    run("P1", "flax", "2026-03-01 07:00", kg="100", ended_at=at("2026-03-01 12:00"))
    read("P1", "2026-03-01 12:00", "4")
    assert compare().total.hours_h == pytest.approx(9.0)


def test_a_run_beyond_the_readings_of_a_metered_press_keeps_its_written_hours(
    run: RunMaker, metered: Press
) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="6", kg="100")
    run("P1", "flax", "2026-03-05 06:00", hours="7", kg="80")
    read("P1", "2026-03-01 00:00", "1000")
    read("P1", "2026-03-02 00:00", "1012")
    total = compare().total
    assert (total.hours_h, total.seed_kg, total.runs_without_hours) == (13.0, 180.0, 0)


def test_two_barrels_at_once_under_runs_of_their_own_count_the_presss_hours_once(
    run: RunMaker, mill: Mill
) -> None:
    twin = Press.objects.create(code="P1")
    for barrel in ("left", "right"):
        Position.objects.create(press=twin, name=f"screw {barrel}", kind="screw", barrel=barrel)
    run("P1", "flax", "2026-03-01 06:00", hours="4", kg="100", through="left")
    run("P1", "rape", "2026-03-01 06:00", hours="4", kg="300", through="right")
    run("P1", "rape", "2026-03-02 06:00", hours="4", kg="300", through="left")
    found = compare(by=("crop",))
    assert found.total.hours_h == pytest.approx(8.0)
    assert [line.hours_h for line in found.lines] == [pytest.approx(2.0), pytest.approx(6.0)]
