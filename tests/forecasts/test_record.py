"""The log as it stood at the end of a day."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.dates import at
from tests.mills.forecast_shop import Shop, day, when
from wearlog.calc.meters import Stretches
from wearlog.history.record import load


class TestTheEndOfTheDay:
    def test_as_of_ends_at_24_00_in_the_mill_s_zone(self, shop: Shop) -> None:
        # Vienna is an hour ahead of UTC in winter, two in summer.
        assert load(day("2026-01-15")).end == at("2026-01-15 23:00").timestamp()
        assert load(day("2026-07-15")).end == at("2026-07-15 22:00").timestamp()

    @pytest.mark.parametrize("last", ["2026-03-29", "2026-10-25"])
    def test_days_of_23_and_25_hours_end_at_24_00_too(self, shop: Shop, last: str) -> None:
        # Clocks change on these days in Vienna; the next day's 0:00 is when(...) of that day.
        assert load(day(last)).end == when(f"{day(last) + timedelta(days=1)}").timestamp()

    def test_a_row_at_the_last_second_counts_and_one_at_24_00_does_not(self, shop: Shop) -> None:
        screw = shop.part("S1", shop.type("S", "screw"))
        shop.gauge("2026-03-01 23:59:59", screw, 10)
        shop.gauge("2026-03-02 00:00", screw, 11)
        assert [row.value_mm for row in load(day("2026-03-01")).measurements] == [10]


class TestRowsThatAreLater:
    def test_they_do_not_exist(self, shop: Shop) -> None:
        screw = shop.part("S1", shop.type("S", "screw"))
        shop.fit(screw, "2026-03-02 08:00")
        shop.serve("2026-03-02 08:00", "inspect")
        shop.gauge("2026-03-02 08:00", screw, 10)
        shop.incident("2026-03-02 08:00")
        shop.read("2026-03-02 08:00", 5)
        shop.run("2026-03-02 06:00", 8, 400)
        before, after = load(day("2026-03-01")), load(day("2026-03-02"))
        for rows in ("fittings", "services", "measurements", "incidents", "readings", "runs"):
            assert len(getattr(before, rows)) == 0, rows
            assert len(getattr(after, rows)) == 1, rows

    def test_a_later_removal_leaves_the_part_in_place(self, shop: Shop) -> None:
        screw = shop.part("S1", shop.type("S", "screw"))
        shop.fit(screw, "2026-03-01 08:00", "2026-04-01 09:00")
        assert load(day("2026-03-31")).fittings[0].removed is None
        assert load(day("2026-04-01")).fittings[0].removed == when("2026-04-01 09:00").timestamp()

    def test_a_later_retirement_is_not_known_and_neither_is_its_reason(self, shop: Shop) -> None:
        part = shop.part("S1", shop.type("S", "screw"), retired_on=day("2026-04-01"), retired_because="worn")
        before, after = load(day("2026-03-31")).parts[part.id], load(day("2026-04-01")).parts[part.id]
        assert (before.retired_on, before.retired_because) == (None, "")
        assert (after.retired_on, after.retired_because) == (day("2026-04-01"), "worn")

    def test_a_press_s_later_retirement_is_not_known(self, shop: Shop) -> None:
        press = shop.press(retired_on=day("2026-04-01"))
        assert load(day("2026-03-31")).presses[press.id].retired_on is None
        assert load(day("2026-04-01")).presses[press.id].retired_on == day("2026-04-01")

    def test_a_plan_counts_from_the_day_it_was_planned_on_or_always(self, shop: Shop) -> None:
        shop.plan("2026-08-01", "2026-08-31", 1000)
        shop.plan("2026-10-01", "2026-10-31", 2000, planned="2026-06-01")
        assert [row.seed_kg for row in load(day("2026-05-31")).plan] == [1000]
        assert [row.seed_kg for row in load(day("2026-06-01")).plan] == [1000, 2000]

    def test_presses_types_crops_and_rules_are_always_known(self, shop: Shop) -> None:
        shop.press(commissioned_on=day("2030-01-01"))
        shop.type("S", "screw")
        shop.crop("flax")
        shop.rule("grease", "lubricate", every_h=50)
        known = load(day("2020-01-01"))
        assert (len(known.presses), len(known.types), known.crops, len(known.rules)) == (1, 1, ("flax",), 1)


class TestRuns:
    def ends(self, as_of: str, shop: Shop) -> list[float]:
        runs = load(day(as_of)).runs.get(shop.press().id)
        return [] if runs is None else runs.end.tolist()

    def test_a_run_counts_once_it_has_ended(self, shop: Shop) -> None:
        shop.run("2026-03-01 20:00", 8, 400, recorded=False)
        assert self.ends("2026-03-01", shop) == []
        assert self.ends("2026-03-02", shop) == [when("2026-03-02 04:00").timestamp()]

    def test_a_run_to_24_00_has_ended_on_that_day(self, shop: Shop) -> None:
        shop.run("2026-03-01 20:00", 4, 400, recorded=False)
        assert self.ends("2026-03-01", shop) == [when("2026-03-02").timestamp()]

    def test_without_an_end_it_ends_its_hours_after_its_start(self, shop: Shop) -> None:
        shop.run("2026-03-01 06:00", 7.5, 400, ended="")
        assert self.ends("2026-03-01", shop) == [when("2026-03-01 13:30").timestamp()]

    def test_with_neither_end_nor_hours_it_still_runs_and_never_counts(self, shop: Shop) -> None:
        shop.run("2026-03-01 06:00", 8, 400, ended="", recorded=False)
        assert self.ends("2026-12-31", shop) == []

    def test_a_recorded_end_wins_over_the_hours_and_a_later_one_counts_as_empty(self, shop: Shop) -> None:
        shop.run("2026-03-01 20:00", 3, 400, ended="2026-03-02 01:00")
        assert self.ends("2026-03-01", shop) == [when("2026-03-01 23:00").timestamp()]
        assert self.ends("2026-03-02", shop) == [when("2026-03-02 01:00").timestamp()]

    def test_instants_and_numbers_arrive_exactly(self, shop: Shop) -> None:
        run = shop.run("2026-03-01 06:00:00.123456", 7.123456, 412.654321)
        found = load(day("2026-03-01")).runs[run.press_id]
        assert found.start.tolist() == [run.started_at.timestamp()]
        assert found.end.tolist() == [run.ended_at.timestamp()]  # type: ignore[union-attr]
        assert found.recorded_h.tolist() == [7.123456]
        assert found.seed_kg.tolist() == [412.654321]

    def test_runs_before_1970_and_across_the_clock_change_keep_their_instants(self, shop: Shop) -> None:
        run = shop.run("1969-03-01 06:00", 2, 100)
        other = shop.run("2026-03-28 23:00", 6, 100, recorded=False)
        found = load(day("2026-04-01")).runs[run.press_id]
        assert found.start.tolist() == [run.started_at.timestamp(), other.started_at.timestamp()]
        assert load(day("2026-04-01")).run_hours(run.press_id).tolist() == [2, 6]


class TestUnloggedHours:
    def stretches(self, shop: Shop) -> Stretches:
        return load(day("2026-03-03")).hours[shop.press().id].stretches

    def two_days(self, shop: Shop) -> None:
        shop.read("2026-03-01 00:00", 100)
        shop.run("2026-03-01 06:00", 8, 400)
        shop.read("2026-03-02 00:00", 110)
        shop.run("2026-03-02 06:00", 8, 400)
        shop.read("2026-03-03 00:00", 118)

    def test_hours_on_the_meter_without_a_run_are_told_and_spread_nowhere(self, shop: Shop) -> None:
        self.two_days(shop)
        found = self.stretches(shop)
        assert found.closes.tolist() == [when("2026-03-02").timestamp(), when("2026-03-03").timestamp()]
        assert found.unlogged_h.tolist() == [2, 0]
        record = load(day("2026-03-03"))
        assert record.timelines[shop.press().id].hours(0, record.end).tolist() == [16]

    def test_where_hours_come_from_the_meter_they_count_evenly_over_their_stretch(self, shop: Shop) -> None:
        shop.press("P1", hours_from="meter")
        self.two_days(shop)
        record = load(day("2026-03-03"))
        timeline = record.timelines[shop.press().id]
        assert timeline.hours(0, record.end) == pytest.approx([18])
        # The last six hours of the first day: no run, a quarter of its 2 unlogged hours.
        night = when("2026-03-01 18:00").timestamp(), when("2026-03-02 00:00").timestamp()
        assert timeline.hours(*night) == pytest.approx([0.5])
        assert record.press_hours(shop.press().id).tolist() == [8, 8]

    def test_a_new_meter_and_runs_longer_than_the_meter_leave_none(self, shop: Shop) -> None:
        shop.read("2026-03-01 00:00", 100)
        shop.run("2026-03-01 06:00", 8, 400)
        shop.read("2026-03-02 00:00", 3, new=True)
        shop.run("2026-03-02 06:00", 8, 400)
        shop.read("2026-03-03 00:00", 10)
        assert self.stretches(shop).unlogged_h.tolist() == [0]

    def test_without_readings_there_are_none_to_tell(self, shop: Shop) -> None:
        shop.run("2026-03-01 06:00", 8, 400)
        assert self.stretches(shop).unlogged_h.tolist() == []

    def test_a_run_that_goes_on_leaves_the_stretch_open(self, shop: Shop) -> None:
        shop.read("2026-03-01 00:00", 100)
        shop.run("2026-03-01 06:00", 8, 400, ended="", recorded=False)
        shop.read("2026-03-02 00:00", 110)
        assert self.stretches(shop).unlogged_h.tolist() == []


class TestWhatDoesNotCount:
    def test_voided_rows_are_nowhere(self, shop: Shop) -> None:
        screw = shop.part("S1", shop.type("S", "screw"))
        for row in (
            shop.fit(screw, "2026-03-01 08:00"),
            shop.serve("2026-03-01 08:00", "inspect"),
            shop.gauge("2026-03-01 08:00", screw, 10),
            shop.incident("2026-03-01 08:00"),
            shop.read("2026-03-01 08:00", 5),
            shop.run("2026-03-01 06:00", 8, 400),
        ):
            row.voided_at = when("2026-03-05 08:00")
            row.save()
        record = load(day("2026-03-01"))
        for rows in ("fittings", "services", "measurements", "incidents", "readings", "runs"):
            assert len(getattr(record, rows)) == 0, rows

    def test_when_a_row_was_entered_does_not_matter(self, shop: Shop) -> None:
        run = shop.run("2026-03-01 06:00", 8, 400)
        run.entered_at = when("2026-06-01 12:00")
        run.save()
        assert load(day("2026-03-01")).runs[run.press_id].seed_kg.tolist() == [400]


def test_the_number_of_queries_does_not_grow_with_the_log(shop: Shop) -> None:
    def a_press(number: int) -> None:
        screw = shop.part(f"S{number}", shop.type(f"T{number}", "screw"))
        shop.fit(screw, "2026-01-01", press=f"P{number}")
        shop.runs("2026-01-01", 5, press=f"P{number}")
        shop.gauge("2026-02-01", screw, 10)

    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            load(day("2026-12-31"))
        return len(seen)

    a_press(1)
    small = queries()
    for number in range(2, 6):
        a_press(number)
    assert queries() == small
