"""What the database itself refuses of runs, tried by the bare ORM and by SQL."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from tests.dates import at
from wearlog.equipment.models import Press
from wearlog.runs.models import Crop, PlanEntry, Reading, Run


@contextmanager
def refused() -> Iterator[None]:
    with pytest.raises(IntegrityError), transaction.atomic():
        yield


class Bare:
    def __init__(self) -> None:
        self.press = Press.objects.create(code="P1")
        self.other = Press.objects.create(code="P2")
        self.crop = Crop.objects.create(code="rape")
        self.number = 0

    def row(self, start: str | datetime, end: str | datetime | None, slot: int = 0, **more: Any) -> Run:
        self.number += 1
        ended_at = at(end) if isinstance(end, str) else end
        values = {
            "ref": f"r{self.number}",
            "press": self.press,
            "crop": self.crop,
            "started_at": at(start) if isinstance(start, str) else start,
            "ended_at": ended_at,
            "ends_at": ended_at,
            "seed_kg": Decimal(100),
            "slot": slot,
            **more,
        }
        return Run(**values)

    def store(self, *args: Any, **more: Any) -> Run:
        return Run.objects.bulk_create([self.row(*args, **more)])[0]


@pytest.fixture
def bare(db: None) -> Bare:
    return Bare()


def test_runs_of_one_press_do_not_overlap(bare: Bare) -> None:
    bare.store("2026-03-02 06:00", "2026-03-02 14:00")
    for start, end in (
        ("2026-03-02 05:00", "2026-03-02 06:01"),
        ("2026-03-02 07:00", "2026-03-02 08:00"),
        ("2026-03-02 13:59", "2026-03-02 20:00"),
        ("2026-03-02 05:00", "2026-03-02 20:00"),
        ("2026-03-02 05:00", None),
    ):
        with refused():
            bare.store(start, end)
    bare.store("2026-03-02 05:00", "2026-03-02 06:00")
    bare.store("2026-03-02 14:00", "2026-03-02 15:00")
    bare.store("2026-03-02 07:00", "2026-03-02 08:00", press=bare.other)
    bare.store("2026-03-02 15:00", None)
    with refused():
        bare.store("2026-03-03 15:00", "2026-03-03 16:00")


@pytest.mark.parametrize(
    ("first", "second", "may"),
    [(0, 0, False), (0, 1, False), (2, 0, False), (1, 1, False), (2, 2, False), (1, 2, True), (2, 1, True)],
)
@pytest.mark.parametrize("end", ["2026-03-02 14:00", None])
def test_only_different_barrels_press_at_the_same_time(
    bare: Bare, first: int, second: int, may: bool, end: str | None
) -> None:
    bare.store("2026-03-02 06:00", end, first)
    if may:
        assert bare.store("2026-03-02 07:00", "2026-03-02 15:00", second).pk
    else:
        with refused():
            bare.store("2026-03-02 07:00", "2026-03-02 15:00", second)


def test_a_voided_run_is_not_in_the_way_until_it_counts_again(bare: Bare) -> None:
    gone = bare.store("2026-03-02 06:00", "2026-03-02 14:00", voided_at=at("2026-03-03 06:00"))
    bare.store("2026-03-02 07:00", "2026-03-02 15:00")
    with refused():
        Run.objects.filter(pk=gone.pk).update(voided_at=None)


def test_a_run_is_not_moved_into_another(bare: Bare) -> None:
    run = bare.store("2026-03-02 06:00", "2026-03-02 14:00")
    bare.store("2026-03-02 14:00", "2026-03-02 16:00")
    far = bare.store("2026-03-02 15:00", "2026-03-02 17:00", press=bare.other)
    late = at("2026-03-02 14:01")
    with refused():
        Run.objects.filter(pk=run.pk).update(ended_at=late, ends_at=late)
    with refused():
        Run.objects.filter(pk=far.pk).update(press=bare.press)
    Run.objects.filter(pk=run.pk).update(note="the same times are no overlap with itself")


def test_a_run_of_no_length_overlaps_nothing(bare: Bare) -> None:
    bare.store("2026-03-02 06:00", "2026-03-02 14:00")
    bare.store("2026-03-02 08:00", "2026-03-02 08:00")
    bare.store("2026-03-02 14:00", "2026-03-02 16:00")


def test_plain_sql_does_not_get_past_the_guard(bare: Bare) -> None:
    run = bare.store("2026-03-02 06:00", "2026-03-02 14:00")
    later = bare.store("2026-03-02 14:00", "2026-03-02 16:00")
    with refused(), connection.cursor() as cursor:
        cursor.execute(
            "UPDATE runs_run SET started_at = (SELECT started_at FROM runs_run WHERE id = %s) WHERE id = %s",
            [run.pk, later.pk],
        )


@pytest.mark.parametrize("name", ["seed_kg", "oil_kg", "cake_kg", "foots_kg", "hours_h", "energy_kwh"])
def test_kilograms_hours_and_energy_are_not_negative(bare: Bare, name: str) -> None:
    with refused():
        bare.store("2026-03-02 06:00", "2026-03-02 14:00", **{name: Decimal("-0.000001")})


def test_the_derived_end_follows_what_was_recorded(bare: Bare) -> None:
    with refused():
        bare.store("2026-03-02 06:00", "2026-03-02 14:00", ends_at=at("2026-03-02 15:00"))
    with refused():
        bare.store("2026-03-02 06:00", "2026-03-02 14:00", ends_at=None)
    with refused():
        bare.store("2026-03-02 06:00", None, hours_h=Decimal(3))
    with refused():
        bare.store("2026-03-02 06:00", None, ends_at=at("2026-03-02 15:00"))
    with refused():
        bare.store("2026-03-02 06:00", "2026-03-02 05:00")


def test_refs_and_keys_are_unique(bare: Bare) -> None:
    bare.store("2026-03-02 06:00", "2026-03-02 14:00", ref="a")
    with refused():
        bare.store("2026-03-03 06:00", "2026-03-03 14:00", ref="a")
    with refused():
        bare.store("2026-03-03 06:00", "2026-03-03 14:00", ref="")
    Reading.objects.create(press=bare.press, read_at=at("2026-03-02 06:00"), meter_h=Decimal(1))
    with refused():
        Reading.objects.create(press=bare.press, read_at=at("2026-03-02 06:00"), meter_h=Decimal(2))
    with refused():
        Reading.objects.create(press=bare.press, read_at=at("2026-03-03 06:00"), meter_h=Decimal(-1))
    plan = {"press": bare.press, "crop": bare.crop, "start_on": "2026-03-01", "seed_kg": Decimal(1)}
    PlanEntry.objects.create(end_on="2026-03-09", **plan)
    with refused():
        PlanEntry.objects.create(end_on="2026-04-09", **plan)
    with refused():
        PlanEntry.objects.create(**{**plan, "start_on": "2026-05-01"}, end_on="2026-04-09")


def test_a_crop_is_one_tag(bare: Bare) -> None:
    with refused():
        Crop.objects.create(code="winter rape")
    with refused():
        Crop.objects.create(code="rape")


def test_words_out_of_the_list_are_refused(bare: Bare) -> None:
    with refused():
        bare.store("2026-03-02 06:00", "2026-03-02 14:00", dirt="muddy")
    with refused():
        bare.store("2026-03-02 06:00", "2026-03-02 14:00", 3)


def share_a_barrel(one: int, other: int) -> bool:
    return one == 0 or other == 0 or one == other


class AnyOrderOfRuns(TestCase):
    @settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(
        st.lists(
            st.tuples(
                st.integers(0, 30), st.one_of(st.none(), st.integers(0, 8)), st.integers(0, 2), st.booleans()
            ),
            max_size=14,
        )
    )
    def test_a_run_is_stored_exactly_when_no_standing_one_shares_a_barrel_and_a_moment(
        self, wanted: list[tuple[int, int | None, int, bool]]
    ) -> None:
        bare = Bare()
        base = at("2026-03-02 06:00")
        stored: list[tuple[int, float, int]] = []
        for start, hours, slot, voided in wanted:
            end = float("inf") if hours is None else start + hours
            clash = not voided and any(
                share_a_barrel(slot, other) and max(start, began) < min(end, ended)
                for began, ended, other in stored
                if ended > began and end > start
            )
            run = bare.row(
                base + timedelta(hours=start),
                None if hours is None else base + timedelta(hours=start + hours),
                slot,
                voided_at=base if voided else None,
            )
            try:
                with transaction.atomic():
                    Run.objects.bulk_create([run])
                taken = True
            except IntegrityError:
                taken = False
            assert taken is not clash
            if taken and not voided:
                stored.append((start, end, slot))
