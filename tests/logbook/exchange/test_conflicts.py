"""The same key again: same content changes nothing, an empty cell is filled, other content is a conflict."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tests.logbook.exchange.books import content, files, small_book, write_book
from wearlog.equipment.models import Fitting, Part, PartType, Position
from wearlog.history import versions
from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.logbook.exchange.importing import ImportCounts, import_logbook
from wearlog.logbook.exchange.problems import BadLogbook, Conflict, Conflicting
from wearlog.people.models import AuditEntry, Mill, Role, User
from wearlog.people.refusals import NotAllowed
from wearlog.runs.models import Reading, Run
from wearlog.service.models import Measurement, Service

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
LATER = datetime(2026, 3, 5, 12, tzinfo=UTC)
pytestmark = pytest.mark.django_db
Book = dict[str, list[dict[str, str]]]
IMPORTED = ImportCounts(new=33, filled=0, replaced=0, kept=0, same=0)


@pytest.fixture
def again(tmp_path: Path) -> Callable[..., ImportCounts]:
    """Import the small book, then a changed one over it."""
    assert import_logbook(by=None, at=NOW, source=write_book(tmp_path / "first", small_book())) == IMPORTED

    def take(
        change: Callable[[Book], object] = lambda book: None, on_conflict: str = "", dry_run: bool = False
    ) -> ImportCounts:
        book = small_book()
        change(book)
        source = write_book(tmp_path / "again", book)
        return import_logbook(by=None, at=LATER, source=source, on_conflict=on_conflict, dry_run=dry_run)

    return take


def test_a_first_logbook_brings_its_own_mill_to_an_empty_database(tmp_path: Path) -> None:
    Mill.objects.create(name="Our mill", time_zone="UTC", units="us")
    import_logbook(by=None, at=NOW, source=write_book(tmp_path / "first", small_book()))
    mill = Mill.objects.get()
    assert (mill.name, mill.time_zone, mill.units) == ("Test mill", "Europe/Vienna", "metric")


def test_a_first_logbook_that_is_refused_leaves_the_mill_as_it_was(tmp_path: Path) -> None:
    Mill.objects.create(name="Our mill", time_zone="UTC", units="us")
    book = small_book()
    book["runs"][0]["seed_kg"] = "much"
    with pytest.raises(BadLogbook):
        import_logbook(by=None, at=NOW, source=write_book(tmp_path / "first", book))
    assert Mill.objects.get().name == "Our mill"


def put(table: str, number: int, **cells: str) -> Callable[[Book], None]:
    return lambda book: book[table][number].update(cells)


def conflicts(again: Callable[..., ImportCounts], change: Callable[[Book], None]) -> tuple[Conflict, ...]:
    before = (versions.current(), AuditEntry.objects.count())
    with pytest.raises(Conflicting) as caught:
        again(change)
    assert (versions.current(), AuditEntry.objects.count()) == before
    return caught.value.conflicts


def test_the_same_book_again_changes_nothing(again: Callable[..., ImportCounts]) -> None:
    before = versions.current()

    assert again() == ImportCounts(new=0, filled=0, replaced=0, kept=0, same=33)

    assert versions.current() == before
    assert AuditEntry.objects.count() == 1


def test_the_same_content_written_in_another_way_is_the_same(again: Callable[..., ImportCounts]) -> None:
    def other_words(book: Book) -> None:
        book["runs"][0] |= {
            "started_at": "2025-08-04T04:00:00Z",
            "seed_kg": "180.500",
            "ended_at": "2025-08-04 18:00",
        }
        book["positions"][0]["share"] = "1"
        book["fittings"][0]["removed_at"] = "2025-09-01T06:00:00+00:00"

    assert again(other_words).same == 33


def test_an_empty_cell_is_filled(again: Callable[..., ImportCounts]) -> None:
    taken = again(put("runs", 1, oil_kg="60.5", ended_at="2025-08-05T18:30:00+02:00"))

    assert (taken.filled, taken.same) == (1, 32)
    run = Run.objects.get(ref="r2")
    assert run.oil_kg == Decimal("60.5")
    assert run.ends_at == run.ended_at == datetime(2025, 8, 5, 16, 30, tzinfo=UTC)
    entry = AuditEntry.objects.get(record="run")
    assert (entry.old or {})["oil_kg"] is None
    assert (entry.new or {})["oil_kg"] == "60.5"


def test_a_part_that_was_still_in_place_may_come_off(again: Callable[..., ImportCounts]) -> None:
    def next_die(book: Book) -> None:
        book["fittings"][1]["removed_at"] = "2025-10-01T08:00:00+02:00"
        book["fittings"].append(
            {
                "part": "D5-02",
                "edge": "A",
                "press": "P1",
                "position": "die",
                "fitted_at": "2025-10-01T08:00:00+02:00",
            }
        )

    taken = again(next_die)

    assert (taken.filled, taken.new) == (1, 1)
    assert [fitting.part.code for fitting in Fitting.objects.open().filter(position__name="die")] == ["D5-02"]


def test_other_content_is_a_conflict_and_nothing_is_stored(again: Callable[..., ImportCounts]) -> None:
    def change(book: Book) -> None:
        book["runs"][0]["seed_kg"] = "200"
        book["runs"].append(
            book["runs"][0]
            | {"ref": "r9", "started_at": "2025-08-20T06:00:00Z", "ended_at": "", "hours_h": "3"}
        )

    found = conflicts(again, change)

    assert found == (Conflict("runs.csv", 2, "r1", "seed_kg", "180.5", "200"),)
    assert Run.objects.count() == 4
    assert Run.objects.get(ref="r1").seed_kg == Decimal("180.5")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (
            put("mill", 0, name="Another mill"),
            Conflict("mill.csv", 2, "mill", "name", "Test mill", "Another mill"),
        ),
        (put("presses", 0, name="South"), Conflict("presses.csv", 2, "P1", "name", "North", "South")),
        (
            put("parts", 0, acquired_on="2025-07-02"),
            Conflict("parts.csv", 2, "D5-01", "acquired_on", "2025-07-01", "2025-07-02"),
        ),
        (
            put("readings", 1, kind="reading"),
            Conflict("readings.csv", 3, "P1 2025-08-06T05:55:00+02:00", "kind", "new_meter", "reading"),
        ),
        (
            put("fittings", 0, removed_at="2025-08-31T08:00:00+02:00"),
            Conflict(
                "fittings.csv",
                2,
                "D5-01 2025-08-01T08:00:00+02:00",
                "removed_at",
                "2025-09-01T08:00:00+02:00",
                "2025-08-31T08:00:00+02:00",
            ),
        ),
        (put("runs", 0, oil_kg=""), Conflict("runs.csv", 2, "r1", "oil_kg", "58", "")),
        (put("runs", 1, purge=""), Conflict("runs.csv", 3, "r2", "purge", "yes", "")),
    ],
)
def test_each_conflict_is_told_with_both_versions(
    again: Callable[..., ImportCounts], change: Callable[[Book], None], told: Conflict
) -> None:
    assert conflicts(again, change) == (told,)


def test_keep_leaves_what_is_stored_and_takes_the_rest(again: Callable[..., ImportCounts]) -> None:
    def change(book: Book) -> None:
        book["runs"][0] |= {"seed_kg": "200", "cake_kg": "120"}
        book["runs"][1]["oil_kg"] = "60"
        book["crops"].append({"crop": "hemp"})

    taken = again(change, on_conflict="keep")

    assert taken == ImportCounts(new=1, filled=1, replaced=0, kept=1, same=31)
    run = Run.objects.get(ref="r1")
    assert (run.seed_kg, run.cake_kg) == (Decimal("180.5"), None)
    assert Run.objects.get(ref="r2").oil_kg == Decimal(60)


def test_replace_takes_what_the_logbook_says_and_keeps_both_in_the_audit_trail(
    again: Callable[..., ImportCounts],
) -> None:
    taken = again(put("runs", 0, seed_kg="200", oil_kg=""), on_conflict="replace")

    assert taken == ImportCounts(new=0, filled=0, replaced=1, kept=0, same=32)
    run = Run.objects.get(ref="r1")
    assert (run.seed_kg, run.oil_kg, run.voided_at) == (Decimal(200), None, None)
    entry = AuditEntry.objects.get(record="run")
    assert (entry.at, entry.by_name, entry.action, entry.record_key) == (
        LATER,
        "command line",
        "import",
        "r1",
    )
    assert ((entry.old or {})["seed_kg"], (entry.new or {})["seed_kg"]) == ("180.5", "200")
    assert ((entry.old or {})["oil_kg"], (entry.new or {})["oil_kg"]) == ("58", None)


def test_columns_that_the_logbook_leaves_out_stay_as_they_are(
    again: Callable[..., ImportCounts], tmp_path: Path
) -> None:
    rows = [
        {
            "ref": "r1",
            "press": "P1",
            "crop": "rapeseed",
            "started_at": "2025-08-04T06:00:00+02:00",
            "seed_kg": "200",
        }
    ]

    import_logbook(
        by=None, at=LATER, source=write_book(tmp_path / "few", {"runs": rows}), on_conflict="replace"
    )

    run = Run.objects.get(ref="r1")
    assert (run.seed_kg, run.oil_kg, run.hours_h) == (Decimal(200), Decimal(58), Decimal("11.5"))


def test_runs_may_move_along_in_time_together(again: Callable[..., ImportCounts]) -> None:
    """Each takes the place that the other held: no half-way state may stand in the way."""

    def swap(book: Book) -> None:
        book["runs"][0] |= {
            "started_at": "2025-08-05T06:00:00+02:00",
            "ended_at": "2025-08-05T18:00:00+02:00",
        }
        book["runs"][1] |= {"started_at": "2025-08-04T06:00:00+02:00", "hours_h": "12"}

    assert again(swap, on_conflict="replace").replaced == 2

    assert list(
        Run.objects.filter(press__code="P1").order_by("started_at").values_list("ref", flat=True)
    ) == ["r2", "r1"]
    assert not Run.objects.exclude(voided_at=None).exists()


def test_dies_may_trade_places(again: Callable[..., ImportCounts]) -> None:
    def trade(book: Book) -> None:
        book["fittings"][1] |= {"press": "P2", "position": "left die"}
        book["fittings"].append(
            {
                "part": "D5-02",
                "edge": "B",
                "press": "P1",
                "position": "die",
                "fitted_at": "2025-09-01T08:00:00+02:00",
            }
        )

    assert again(trade, on_conflict="replace") == ImportCounts(new=1, filled=0, replaced=1, kept=0, same=32)

    open_now = {(f.part.code, f.position.press.code, f.position.name) for f in Fitting.objects.open()}
    assert open_now == {("D5-01", "P2", "left die"), ("D5-02", "P1", "die"), ("S-01", "P1", "screw")}


VOIDED = {"voided_at": NOW, "void_reason": "entered twice"}


@pytest.mark.parametrize(
    ("model", "change"),
    [
        (Run, lambda book: None),
        (Reading, lambda book: None),
        (Measurement, lambda book: None),
    ],
)
def test_a_key_that_was_voided_here_is_a_conflict(
    again: Callable[..., ImportCounts], model: type[Run], change: Callable[[Book], None]
) -> None:
    record = model.objects.order_by("pk").first()
    assert record is not None
    model.objects.filter(pk=record.pk).update(**VOIDED)

    (found,) = conflicts(again, change)
    assert found.column == ""
    assert str(found).endswith("this record was crossed out here.")

    assert again(on_conflict="keep") == ImportCounts(new=0, filled=0, replaced=0, kept=1, same=32)
    assert not model.objects.not_voided().filter(pk=record.pk).exists()

    assert again(on_conflict="replace") == ImportCounts(new=0, filled=0, replaced=1, kept=0, same=32)
    restored = model.objects.not_voided().get(pk=record.pk)
    assert (restored.voided_by, restored.void_reason) == (None, "")


def test_a_voided_record_kept_voided_leaves_its_place_to_another(again: Callable[..., ImportCounts]) -> None:
    Run.objects.filter(ref="r1").update(**VOIDED)
    beside = {
        "ref": "r5",
        "press": "P1",
        "crop": "rapeseed",
        "started_at": "2025-08-04T06:00:00+02:00",
        "hours_h": "5",
        "seed_kg": "90",
    }

    taken = again(lambda book: book["runs"].append(beside), on_conflict="keep")

    assert (taken.new, taken.kept) == (1, 1)
    with pytest.raises(BadLogbook, match="never overlap"):
        again(lambda book: book["runs"].append(beside), on_conflict="replace")


def test_work_on_a_voided_service_says_what_to_do(again: Callable[..., ImportCounts], tmp_path: Path) -> None:
    Service.objects.filter(ref="s2").update(**VOIDED)
    gauge = {
        "ref": "m9",
        "measured_at": "2025-09-02T09:00:00Z",
        "part": "S-01",
        "value_mm": "59.9",
        "service": "s2",
    }

    with pytest.raises(BadLogbook, match="crossed out here: leave the cell empty"):
        import_logbook(by=None, at=LATER, source=write_book(tmp_path / "one", {"measurements": [gauge]}))

    assert again(on_conflict="keep").kept == 1
    assert Measurement.objects.get(ref="m2").service == Service.objects.get(ref="s2")


def test_a_standing_record_counts_before_a_voided_one_of_the_same_key(
    again: Callable[..., ImportCounts],
) -> None:
    reading = Reading.objects.order_by("read_at").first()
    assert reading is not None
    Reading.objects.filter(pk=reading.pk).update(meter_h=5, **VOIDED)
    Reading.objects.create(press=reading.press, read_at=reading.read_at, meter_h=reading.meter_h)

    assert again().same == 33


def test_a_press_that_gains_a_barrel_has_its_runs_placed_anew(tmp_path: Path) -> None:
    book = small_book()
    book["positions"] = [row for row in book["positions"] if row.get("barrel") != "left"]
    book["runs"] = [row for row in book["runs"] if row.get("through") != "left"]
    import_logbook(by=None, at=NOW, source=write_book(tmp_path / "one", book))
    assert Run.objects.get(ref="r4").slot == 0

    import_logbook(by=None, at=NOW, source=write_book(tmp_path / "two", small_book()))

    assert dict(Run.objects.values_list("ref", "slot")) == {"r1": 0, "r2": 0, "r3": 1, "r4": 2}


def test_a_small_import_into_much_that_is_stored_finds_its_records(tmp_path: Path) -> None:
    """Few rows are looked up by key instead of reading everything."""
    import_logbook(by=None, at=NOW, source=write_book(tmp_path / "first", small_book()))
    template, reading = Run.objects.get(ref="r1"), Reading.objects.earliest("read_at")
    for number in range(1, 40):
        day = datetime(2025, 1, 1, 6, tzinfo=UTC) + timedelta(days=number)
        Run.objects.create(
            ref=f"old{number}",
            press=template.press,
            crop=template.crop,
            started_at=day,
            hours_h=1,
            seed_kg=15,
        )
        Reading.objects.create(press=reading.press, read_at=day, meter_h=number)
    some = {
        "runs": [small_book()["runs"][0]],
        "readings": [small_book()["readings"][0] | {"meter_h": "1200.2"}],
    }

    with pytest.raises(Conflicting) as caught:
        import_logbook(by=None, at=LATER, source=write_book(tmp_path / "few", some))

    assert [str(found) for found in caught.value.conflicts] == [
        "readings.csv, line 2, P1 2025-08-04T05:55:00+02:00, column meter_h: "
        '"1200.1" is stored here, the logbook has "1200.2".'
    ]


def test_a_dry_run_of_a_replacement_changes_nothing(again: Callable[..., ImportCounts]) -> None:
    assert again(put("runs", 0, seed_kg="200"), on_conflict="replace", dry_run=True).replaced == 1

    assert Run.objects.get(ref="r1").seed_kg == Decimal("180.5")
    assert AuditEntry.objects.count() == 1


def test_the_command_tells_conflicts_and_what_to_do(
    again: Callable[..., ImportCounts], tmp_path: Path
) -> None:
    book = small_book()
    book["runs"][0]["seed_kg"] = "200"
    source = write_book(tmp_path / "again", book)

    with pytest.raises(CommandError) as caught:
        call_command("import_logbook", source)

    told = str(caught.value)
    assert caught.value.returncode == 1
    assert 'runs.csv, line 2, r1, column seed_kg: "180.5" is stored here, the logbook has "200".' in told
    assert "--on-conflict keep" in told
    assert "--on-conflict replace" in told
    call_command("import_logbook", source, "--on-conflict", "replace")
    assert Run.objects.get(ref="r1").seed_kg == Decimal(200)


def test_after_a_replacement_the_export_is_the_import(
    again: Callable[..., ImportCounts], tmp_path: Path
) -> None:
    def change(book: Book) -> None:
        book["mill"][0] |= {"name": "Renamed", "time_zone": "America/New_York"}
        book["part_types"][1]["limit_mm"] = "58.5"
        book["parts"][1]["made_from"] = ""
        book["rules"][0]["every_kg"] = "9000"
        book["measurements"][0]["value_mm"] = "5.39"

    again(change, on_conflict="replace")
    export_logbook(by=None, target=tmp_path / "out")

    assert content(tmp_path / "again") == content(tmp_path / "out")
    assert b"2025-08-04T00:00:00-04:00" in files(tmp_path / "out")["runs.csv"]
    assert Mill.current().name == "Renamed"
    assert PartType.objects.get(code="SC").limit_mm == Decimal("58.5")
    assert Part.objects.get(code="D5-02").made_from is None
    assert Position.objects.count() == 4


@pytest.mark.parametrize("role", [Role.VIEWER, Role.OPERATOR, Role.MAINTAINER])
def test_only_an_owner_may_import_or_export(role: str, tmp_path: Path) -> None:
    person = User.objects.create_user("p", name="Pia", role=role)

    with pytest.raises(NotAllowed):
        import_logbook(by=person, at=NOW, source=write_book(tmp_path / "book", small_book()))
    with pytest.raises(NotAllowed):
        export_logbook(by=person, target=tmp_path / "out")

    assert not Run.objects.exists()
    assert not (tmp_path / "out").exists()


def test_an_owners_import_bears_their_name(tmp_path: Path) -> None:
    owner = User.objects.create_user("o", name="Olga", role=Role.OWNER)

    import_logbook(by=owner, at=NOW, source=write_book(tmp_path / "book", small_book()))

    entry = AuditEntry.objects.get()
    assert (entry.by, entry.by_name, entry.at) == (owner, "Olga", NOW)
    assert entry.new == {"source": "book", "new": 33, "filled": 0, "replaced": 0, "kept": 0, "same": 0}
    run = Run.objects.get(ref="r1")
    assert (run.entered_by, run.entered_at) == (owner, NOW)
