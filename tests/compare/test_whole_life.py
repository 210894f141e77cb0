"""Everything that happened to one part, with the hours and seed behind it then: figures reckoned by hand."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from tests.dates import at
from tests.mills.run_maker import RunMaker
from wearlog.compare.whole_life import WholeLife, whole_life
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.history import versions
from wearlog.history.log import load_log
from wearlog.history.record import record_as_of
from wearlog.people.models import Mill
from wearlog.runs.models import Crop, Run
from wearlog.service.models import Incident, Measurement, Service

JULY = (7, 1)


def life_of(part: Part, on: date = date(2026, 9, 30)) -> WholeLife:
    versions.touch()
    return whole_life(record_as_of(load_log(), on), part, start=JULY, system="metric")


@pytest.fixture
def press(run: RunMaker) -> Press:
    """Ten hours and 100 kg from 6 o'clock UTC on each of 20 June to 9 July, the first ten of rape."""
    for day in range(10):
        run("P1", "rapeseed", f"2026-06-{20 + day} 06:00", hours="10", kg="100")
    for day in range(1, 10):
        run("P1", "sunflower", f"2026-07-0{day} 06:00", hours="10", kg="100")
    return Press.objects.get(code="P1")


@pytest.fixture
def die(press: Press) -> Part:
    """Edge A from 22 June to 3 July at noon, when six hours of that day were done; then edge B."""
    kind = PartType.objects.create(
        code="D5", kind="die", edges=2, new_mm=Decimal("5"), limit_mm=Decimal("5.5")
    )
    die = Part.objects.create(code="D5-01", part_type=kind)
    place = Position.objects.create(press=press, name="die", kind="die")
    Fitting.objects.create(
        part=die,
        edge="A",
        position=place,
        fitted_at=at("2026-06-22 00:00"),
        removed_at=at("2026-07-03 12:00"),
    )
    Fitting.objects.create(part=die, edge="B", position=place, fitted_at=at("2026-07-03 12:00"))
    return die


def test_hours_and_seed_add_up_by_edge_by_season_and_in_all(die: Part) -> None:
    life = life_of(die)
    # 22 to 29 June: 8 days; 1 and 2 July, and six of the ten hours of the 3rd; then four hours and six days.
    assert {edge: work.hours_h for edge, work in life.edges} == pytest.approx({"A": 106, "B": 64})
    assert {edge: work.seed_kg for edge, work in life.edges} == pytest.approx({"A": 1060, "B": 640})
    hours = {season: work.hours_h for season, work in life.seasons}
    assert hours == pytest.approx({"2025/26": 80, "2026/27": 90})
    seed = {season: work.seed_kg for season, work in life.seasons}
    assert seed == pytest.approx({"2025/26": 800, "2026/27": 900})
    assert [life.total.hours_h, life.total.seed_kg] == pytest.approx([170, 1700])
    assert dict(life.total.crops) == pytest.approx({"sunflower": 900, "rapeseed": 800})


def test_each_event_says_what_the_part_had_behind_it_then(die: Part, press: Press) -> None:
    work = Service.objects.create(
        ref="s1",
        done_at=at("2026-06-24 20:00"),
        press=press,
        part=die,
        edge="A",
        action="measure",
        done_by="Ada",
    )
    for value, bound in (("5.2", "below"), ("5.1", "at_least")):
        Measurement.objects.create(
            ref=value,
            measured_at=work.done_at,
            part=die,
            edge="A",
            value_mm=Decimal(value),
            bound=bound,
            service=work,
        )
    Service.objects.create(
        ref="s2",
        done_at=at("2026-07-03 12:00"),
        press=press,
        part=die,
        edge="A",
        action="flip",
        finding="edge rounded",
        done_by="Dov",
    )
    told = [
        (event.text, event.by, round(event.hours_h, 6), round(event.seed_kg, 6))
        for event in life_of(die).events
    ]
    assert told == [
        ("Fitted on P1 · die, edge A", "", 0, 0),
        ("Edge A: at least 5.10 mm; below 5.20 mm", "Ada", 30, 300),
        (
            "Taken off P1 · die, edge A. Fitted on P1 · die, edge B. Flipped die D5-01, edge A: edge rounded",
            "Dov",
            106,
            1060,
        ),
    ]


def test_work_before_this_log_counts_in_every_event(die: Part) -> None:
    die.used_h, die.used_kg, die.used_on = Decimal(50), Decimal(500), date(2026, 6, 22)
    die.save()
    life = life_of(die)
    assert [life.total.hours_h, life.total.seed_kg] == pytest.approx([220, 2200])
    assert (life.events[0].hours_h, life.events[0].seed_kg) == (50, 500)
    assert sum(work.hours_h for _name, work in life.seasons) == pytest.approx(170)


def test_incidents_at_the_press_belong_to_it_unless_they_name_another_place(die: Part, press: Press) -> None:
    screw = Position.objects.create(press=press, name="screw", kind="screw")
    place = Position.objects.get(press=press, name="die")
    other = Press.objects.create(code="P2")
    for number, (day, where, position) in enumerate(
        (
            ("2026-06-25", press, None),
            ("2026-06-26", press, place),
            ("2026-06-27", press, screw),
            ("2026-06-28", other, None),
            ("2026-06-21", press, None),  # before it was fitted
        )
    ):
        Incident.objects.create(
            ref=f"i{number}", happened_at=at(f"{day} 12:00"), press=where, position=position, kind="metal"
        )
    days = [event.at.date() for event in life_of(die).events if "etal" in event.text]
    assert days == [date(2026, 6, 25), date(2026, 6, 26)]


def test_what_was_crossed_out_is_counted_but_not_told(die: Part, press: Press) -> None:
    Service.objects.create(
        ref="s1",
        done_at=at("2026-06-24 20:00"),
        press=press,
        part=die,
        action="polish",
        voided_at=at("2026-06-25 08:00"),
        void_reason="another die",
    )
    life = life_of(die)
    assert life.crossed_out == 1
    assert not [event for event in life.events if "olish" in event.text]


def test_what_comes_after_the_day_is_not_told_yet(die: Part) -> None:
    life = life_of(die, on=date(2026, 6, 25))
    assert [event.text for event in life.events] == ["Fitted on P1 · die, edge A"]
    assert life.total.hours_h == pytest.approx(40)


def test_a_part_that_was_never_fitted_has_no_life_yet(die: Part) -> None:
    spare = Part.objects.create(code="D5-02", part_type=die.part_type)
    life = life_of(spare)
    assert (life.stays, life.seasons, life.events, life.total.hours_h) == ((), (), (), 0)


class AddsUp(TestCase):
    @given(
        days=st.lists(st.integers(1, 700), min_size=1, max_size=12, unique=True),
        cuts=st.lists(st.integers(0, 701), min_size=2, max_size=6, unique=True),
    )
    def test_seasons_stays_and_edges_add_up_to_the_whole(self, days: list[int], cuts: list[int]) -> None:
        """Whatever days it ran and was fitted on."""
        Mill.objects.get_or_create(pk=1)
        begin = at("2024-05-01 04:00")
        press, crop = Press.objects.create(code="P"), Crop.objects.create(code="c")
        for day in days:
            start = begin + timedelta(days=day)
            Run.objects.create(
                ref=f"r{day}",
                press=press,
                crop=crop,
                started_at=start,
                hours_h=Decimal(8),
                seed_kg=Decimal(80),
                ends_at=start + timedelta(hours=8),
            )
        kind = PartType.objects.create(code="t", kind="die", edges=2)
        die = Part.objects.create(code="d", part_type=kind)
        place = Position.objects.create(press=press, name="die", kind="die")
        ends = sorted(cuts)
        for number, (first, last) in enumerate(pairwise(ends)):
            Fitting.objects.create(
                part=die,
                edge="AB"[number % 2],
                position=place,
                fitted_at=begin + timedelta(days=first),
                removed_at=begin + timedelta(days=last),
            )
        life = life_of(die, on=date(2026, 9, 30))
        expected = 8.0 * sum(ends[0] <= day < ends[-1] for day in days)
        for parts in (
            [work for _name, work in life.seasons],
            [work for _edge, work in life.edges],
            [stay.work for stay in life.stays if stay.work is not None],
            [life.total],
        ):
            assert sum(work.hours_h for work in parts) == pytest.approx(expected, abs=1e-6)
            assert sum(work.seed_kg for work in parts) == pytest.approx(expected * 10, abs=1e-6)
        hours = [event.hours_h for event in life.events]
        assert hours == sorted(hours)
