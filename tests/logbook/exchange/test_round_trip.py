"""An imported book and its export agree in content; export, import, export again gives the same bytes."""

from __future__ import annotations

import tempfile
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.examples import bounded
from tests.logbook.exchange.books import content, files, small_book, undone, write_book
from tests.mills.random_mills import mills
from wearlog.equipment.models import Fitting
from wearlog.logbook import demo
from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.logbook.exchange.importing import import_logbook
from wearlog.people.models import Mill
from wearlog.runs.models import Reading, Run
from wearlog.service.models import Incident, Measurement, Service

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
VOIDABLE: list[Any] = [Run, Reading, Service, Measurement, Incident, Fitting]
pytestmark = pytest.mark.django_db
round_trips = settings(max_examples=bounded(50, 25), deadline=None, suppress_health_check=list(HealthCheck))


def take(source: Path) -> None:
    import_logbook(by=None, at=NOW, source=source)


def give(target: Path) -> Path:
    export_logbook(by=None, target=target)
    return target


@round_trips
@given(mills())
def test_an_import_and_its_export_agree_in_content(tables: dict[str, list[dict[str, str]]]) -> None:
    with tempfile.TemporaryDirectory() as name, undone():
        folder = Path(name)
        source = write_book(folder / "source", tables)
        take(source)
        assert content(source) == content(give(folder / "out"))


@round_trips
@given(mills(), st.data())
def test_export_import_export_gives_the_same_bytes(
    tables: dict[str, list[dict[str, str]]], data: st.DataObject
) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with undone():
            take(write_book(folder / "source", tables))
            for model in VOIDABLE:
                for record in model.objects.order_by("pk"):
                    if data.draw(st.integers(0, 4)) == 0:
                        model.objects.filter(pk=record.pk).update(voided_at=NOW, void_reason="a slip")
            first, packed = give(folder / "first"), give(folder / "first.zip")
        with undone():
            take(first)
            again = files(give(folder / "second"))
        with undone():
            take(packed)
            from_archive = give(folder / "second.zip").read_bytes()
        assert files(first) == again
        assert packed.read_bytes() == from_archive


@pytest.mark.parametrize("voided", [Run, Reading, Measurement, Incident, Fitting, Service])
def test_a_voided_record_is_not_exported(voided: Any, tmp_path: Path) -> None:
    take(write_book(tmp_path / "source", small_book()))
    before = sum(len(rows) for rows in content(give(tmp_path / "whole")).values())
    one = voided.objects.order_by("pk").first()

    voided.objects.filter(pk=one.pk).update(voided_at=NOW, void_reason="a slip")

    assert sum(len(rows) for rows in content(give(tmp_path / "out")).values()) == before - 1


def test_a_gauge_whose_work_was_voided_is_exported_without_it(tmp_path: Path) -> None:
    take(write_book(tmp_path / "source", small_book()))
    Service.objects.filter(ref="s2").update(voided_at=NOW, void_reason="a slip")

    told = content(give(tmp_path / "out"))

    assert "service" not in told["measurements"][("m2",)]
    assert told["measurements"][("m2",)]["phase"] == "before"


def test_the_demo_mill_survives_the_round_trip(tmp_path: Path) -> None:
    with undone():
        take(demo.FOLDER)
        first = give(tmp_path / "first")
    take(first)
    assert content(demo.FOLDER) == content(first)
    assert files(first) == files(give(tmp_path / "second"))


def test_the_canonical_form_is_this_to_the_byte(tmp_path: Path) -> None:
    take(write_book(tmp_path / "source", small_book()))
    told = files(give(tmp_path / "out"))

    assert sorted(told) == sorted(
        [
            "mill.csv",
            "presses.csv",
            "positions.csv",
            "crops.csv",
            "part_types.csv",
            "parts.csv",
            "fittings.csv",
            "runs.csv",
            "readings.csv",
            "services.csv",
            "measurements.csv",
            "incidents.csv",
            "rules.csv",
            "plan.csv",
            "energy_sources.csv",
            "prices.csv",
        ]
    )
    assert told["runs.csv"] == (
        b"ref,press,crop,lot,started_at,ended_at,hours_h,seed_kg,oil_kg,cake_kg,foots_kg,through,moisture_pct,"
        b"seed_oil_pct,cake_oil_pct,head_c,drive_hz,motor_a,energy_kwh,dirt,purge,done_by,note\r\n"
        b"r1,P1,rapeseed,,2025-08-04T06:00:00+02:00,2025-08-04T18:00:00+02:00,11.5,180.5,58,,,,,,,,,,,,,,\r\n"
        b'r2,P1,rapeseed,,2025-08-05T06:00:00+02:00,,12,190,,,,,,,,,,,,,yes,,"\'-1 bag, said Ada"\r\n'
        b"r3,P2,rapeseed,,2025-08-05T06:00:00+02:00,,12,95,,,,left,,,,,,,,,,,\r\n"
        b"r4,P2,sunflower,,2025-08-05T07:00:00+02:00,,10,80,,,,right,,,,,,,,,,,\r\n"
    )
    # The column that came later is not there while no run needs it.
    assert told["incidents.csv"] == (
        b"ref,happened_at,press,position,kind,note\r\ni1,2025-08-20T10:00:00+02:00,P1,die,plugged,\r\n"
    )


def test_an_empty_installation_exports_every_file_with_its_header(tmp_path: Path) -> None:
    told = files(give(tmp_path / "out"))

    assert len(told) == 16
    assert told["crops.csv"] == b"crop,bushel_kg,note\r\n"
    take(tmp_path / "out")
    assert not Mill.objects.exists()


def test_an_archive_of_a_folder_is_a_logbook_too(tmp_path: Path) -> None:
    source = write_book(tmp_path / "book", small_book())
    with zipfile.ZipFile(tmp_path / "book.zip", "w") as archive:
        for path in source.iterdir():
            archive.write(path, f"book/{path.name}")

    take(tmp_path / "book.zip")

    assert Run.objects.count() == 4


def test_how_the_seed_is_known_stands_in_a_column_of_its_own_where_a_run_needs_it(tmp_path: Path) -> None:
    take(write_book(tmp_path / "source", small_book()))
    Run.objects.filter(ref="r2").update(seed_how="about")
    told = files(give(tmp_path / "out"))["runs.csv"].decode().splitlines()
    assert told[0].endswith(",purge,done_by,note,seed_how")
    assert [line.rpartition(",")[2] for line in told[1:]] == ["", "about", "", ""]


def test_a_book_without_that_column_says_nothing_against_what_was_guessed_since(tmp_path: Path) -> None:
    book = write_book(tmp_path / "source", small_book())
    take(book)
    Run.objects.filter(ref="r2").update(seed_how="worked_out")
    take(book)
    assert Run.objects.get(ref="r2").seed_how == "worked_out"
