"""What the database itself refuses of equipment, tried by the bare ORM and by SQL."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction

from tests.dates import at
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press


@contextmanager
def refused() -> Iterator[None]:
    with pytest.raises(IntegrityError), transaction.atomic():
        yield


class Bare:
    def __init__(self) -> None:
        self.press = Press.objects.create(code="P1")
        self.here = Position.objects.create(press=self.press, name="die", kind="die")
        self.there = Position.objects.create(press=self.press, name="second die", kind="die")
        self.type = PartType.objects.create(code="D5", kind="die", edges=2)
        self.die = Part.objects.create(code="D-1", part_type=self.type)
        self.other = Part.objects.create(code="D-2", part_type=self.type)

    def fit(
        self,
        start: str,
        end: str | None = None,
        *,
        part: Part | None = None,
        position: Position | None = None,
        edge: str = "A",
        voided_at: datetime | None = None,
    ) -> Fitting:
        return Fitting.objects.create(
            part=part or self.die,
            position=position or self.here,
            edge=edge,
            fitted_at=at(start),
            removed_at=at(end) if end else None,
            voided_at=voided_at,
        )


@pytest.fixture
def bare(db: None) -> Bare:
    return Bare()


def test_one_part_per_position_and_moment(bare: Bare) -> None:
    bare.fit("2026-03-02 06:00", "2026-03-05 06:00")
    for start, end in (
        ("2026-03-01 06:00", "2026-03-02 06:01"),
        ("2026-03-03 06:00", "2026-03-04 06:00"),
        ("2026-03-05 05:59", "2026-03-09 06:00"),
        ("2026-03-01 06:00", "2026-03-09 06:00"),
        ("2026-03-01 06:00", None),
        ("2026-03-05 05:59", None),
    ):
        with refused():
            bare.fit(start, end, part=bare.other)
    bare.fit("2026-03-01 06:00", "2026-03-02 06:00", part=bare.other)
    bare.fit("2026-03-05 06:00", None, part=bare.other)
    assert Fitting.objects.count() == 3


def test_one_place_per_part_and_moment(bare: Bare) -> None:
    bare.fit("2026-03-02 06:00", "2026-03-05 06:00")
    with refused():
        bare.fit("2026-03-04 06:00", "2026-03-06 06:00", position=bare.there)
    with refused():
        bare.fit("2026-03-01 06:00", None, position=bare.there)
    assert bare.fit("2026-03-05 06:00", None, position=bare.there).pk


def test_one_edge_of_a_part_in_use(bare: Bare) -> None:
    bare.fit("2026-03-02 06:00")
    with refused():
        bare.fit("2026-03-03 06:00", position=bare.there, edge="B")
    with refused():
        bare.fit("2026-03-03 06:00", edge="B")


def test_two_open_fittings_are_refused_however_far_apart(bare: Bare) -> None:
    bare.fit("2026-03-02 06:00")
    with refused():
        bare.fit("2020-03-02 06:00", part=bare.other)


def test_stretching_a_fitting_into_the_next_is_refused(bare: Bare) -> None:
    first = bare.fit("2026-03-02 06:00", "2026-03-05 06:00")
    bare.fit("2026-03-05 06:00", part=bare.other)
    with refused():
        Fitting.objects.filter(pk=first.pk).update(removed_at=at("2026-03-05 06:01"))
    with refused():
        Fitting.objects.filter(pk=first.pk).update(removed_at=None)
    Fitting.objects.filter(pk=first.pk).update(removed_at=at("2026-03-04 06:00"))


def test_a_voided_fitting_is_not_in_the_way_until_it_counts_again(bare: Bare) -> None:
    gone = bare.fit("2026-03-02 06:00", voided_at=at("2026-03-03 06:00"))
    bare.fit("2026-03-02 07:00", part=bare.other)
    with refused():
        Fitting.objects.filter(pk=gone.pk).update(voided_at=None)


def test_moving_a_fitting_to_a_taken_position_is_refused(bare: Bare) -> None:
    bare.fit("2026-03-02 06:00")
    other = bare.fit("2026-03-02 06:00", part=bare.other, position=bare.there)
    with refused():
        Fitting.objects.filter(pk=other.pk).update(position=bare.here)
    with refused():
        Fitting.objects.filter(pk=other.pk).update(part=bare.die)


def test_plain_sql_does_not_get_past_the_guard(bare: Bare) -> None:
    bare.fit("2026-03-02 06:00")
    with refused(), connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO equipment_fitting (part_id, edge, position_id, fitted_at, void_reason) "
            "VALUES (%s, 'A', %s, %s, '')",
            [bare.other.pk, bare.here.pk, "2026-03-01 06:00:00+00:00"],
        )


def test_a_fitting_ends_after_it_begins_and_names_a_known_edge(bare: Bare) -> None:
    with refused():
        bare.fit("2026-03-02 06:00", "2026-03-02 06:00")
    with refused():
        bare.fit("2026-03-02 06:00", "2026-03-01 06:00")
    with refused():
        bare.fit("2026-03-02 06:00", edge="E")


def test_codes_are_unique_and_not_empty(bare: Bare) -> None:
    for model, values in (
        (Press, {}),
        (PartType, {"kind": "die"}),
        (Part, {"part_type": bare.type}),
    ):
        code = {"Press": "P1", "PartType": "D5", "Part": "D-1"}[model.__name__]
        with refused():
            model.objects.create(code=code, **values)
        with refused():
            model.objects.create(code="", **values)
    with refused():
        Position.objects.create(press=bare.press, name="die", kind="die")


def test_numbers_and_words_out_of_range_are_refused(bare: Bare) -> None:
    with refused():
        Position.objects.create(press=bare.press, name="x", kind="wheel")
    with refused():
        Position.objects.create(press=bare.press, name="x", kind="die", share=Decimal("1.1"))
    for edges in (0, 5):
        with refused():
            PartType.objects.create(code=f"T{edges}", kind="die", edges=edges)
    with refused():
        PartType.objects.create(code="T", kind="die", expected_life_kg=Decimal(0))
    with refused():
        Press.objects.filter(pk=bare.press.pk).update(hours_from="sun")
    with refused():
        Part.objects.filter(pk=bare.die.pk).update(retired_because="worn")
    with refused():
        Part.objects.filter(pk=bare.die.pk).update(retired_on="2026-03-01", retired_because="tired")
    for used in ("used_h", "used_kg"):
        with refused():
            Part.objects.filter(pk=bare.die.pk).update(**{used: Decimal(-1)})


def test_a_part_that_was_fitted_is_not_deleted(bare: Bare) -> None:
    bare.fit("2026-03-02 06:00")
    with refused():
        Part.objects.filter(pk=bare.die.pk).delete()
