"""Columns read as one text hold what the rows hold, to the last bit."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.db.models import Value

from wearlog.equipment.models import Press
from wearlog.people.models import Mill
from wearlog.runs.columns import ANY, columns, seconds, seconds_of
from wearlog.runs.models import Crop, Run, SeedHow


@pytest.fixture
def runs(mill: Mill) -> list[Run]:
    """Runs with every kind of instant and number: whole, with microseconds, with six decimals, absent."""
    chance = random.Random(4)
    crop = Crop.objects.create(code="flax")
    presses = [Press.objects.create(code=code) for code in ("a", "b")]
    start = datetime(2020, 1, 1, tzinfo=UTC)
    for number in range(400):
        start += timedelta(
            hours=chance.randint(1, 9), microseconds=chance.choice((0, 0, 1, 999_999, 123_457))
        )
        end = start + timedelta(minutes=31, microseconds=chance.randint(0, 999_999))
        how = chance.choice(("clock", "hours", "both"))
        Run.objects.create(
            ref=f"run {number}",
            press=chance.choice(presses),
            crop=crop,
            started_at=start,
            ended_at=end if how != "hours" else None,
            hours_h=Decimal(chance.randint(1, 999_999)) / 1_000_000 if how != "clock" else None,
            seed_kg=Decimal(chance.randint(1, 99_999_999_999)) / 1_000_000,
            seed_how=chance.choice(SeedHow.values),
            purge=chance.choice((True, False)),
            moisture_pct=chance.choice((None, Decimal("7.5"))),
        )
    return list(Run.objects.order_by("pk"))


def test_columns_are_the_nearest_floats_of_what_was_recorded(runs: list[Run]) -> None:
    table = columns(
        Run.objects.all(),
        numbers=("id", "press_id", "hours_h", "seed_kg", "moisture_pct"),
        instants=("started_at", "ended_at"),
    )
    order = np.argsort(table["id"])
    assert table["id"][order].tolist() == [run.pk for run in runs]
    assert table["press_id"][order].tolist() == [run.press_id for run in runs]
    for name in ("hours_h", "seed_kg", "moisture_pct"):
        wanted = [np.nan if value is None else float(value) for value in (getattr(run, name) for run in runs)]
        np.testing.assert_array_equal(table[name][order], wanted)
    for name in ("started_at", "ended_at"):
        wanted = [
            np.nan if value is None else seconds_of(value) for value in (getattr(run, name) for run in runs)
        ]
        np.testing.assert_array_equal(table[name][order], wanted)
        by_row = Run.objects.order_by("pk").values_list(seconds(name), flat=True)
        np.testing.assert_array_equal(wanted, [np.nan if value is None else value for value in by_row])


def test_small_numbers_share_a_column_and_come_apart_again(runs: list[Run]) -> None:
    rows = Run.objects.annotate(third=Value(2))
    table = columns(rows, numbers=("id",), small={"purge": 2, "third": 3, "slot": 3})
    order = np.argsort(table["id"])
    assert table["purge"][order].tolist() == [float(run.purge) for run in runs]
    assert set(table["third"].tolist()) == {2.0}
    assert set(table["slot"].tolist()) == {0.0}


def test_a_column_of_any_size_shares_one_with_small_numbers(runs: list[Run]) -> None:
    small = {"purge": 2, "crop_id": ANY, "press_id": max(run.press_id for run in runs) + 1, "id": ANY}
    table = columns(Run.objects.all(), numbers=("seed_kg",), small=small)
    order = np.argsort(table["id"])
    assert table["id"][order].tolist() == [run.pk for run in runs]
    for name in ("purge", "crop_id", "press_id"):
        assert table[name][order].tolist() == [float(getattr(run, name)) for run in runs]


def test_no_rows_give_empty_columns(mill: Mill) -> None:
    table = columns(Run.objects.all(), numbers=("id",), instants=("started_at",), small={"purge": 2})
    assert {name: column.size for name, column in table.items()} == {"id": 0, "started_at": 0, "purge": 0}
