"""Everything that is wrong is named at once, with file, line, column, value and reason; nothing is stored."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tests.logbook.exchange.books import small_book, write_book
from wearlog.equipment.models import Press
from wearlog.history import versions
from wearlog.logbook.exchange.importing import import_logbook
from wearlog.logbook.exchange.problems import BadLogbook, BadRow, Unreadable
from wearlog.people.models import AuditEntry, Mill
from wearlog.runs.models import Price, Run

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
pytestmark = pytest.mark.django_db
Book = dict[str, list[dict[str, str]]]


def take(source: Path) -> None:
    import_logbook(by=None, at=NOW, source=source)


def refused(source: Path) -> tuple[BadRow, ...]:
    """What is wrong; and nothing was stored."""
    with pytest.raises(BadLogbook) as caught:
        take(source)
    assert not Press.objects.exists()
    assert not Mill.objects.exists()
    assert not AuditEntry.objects.exists()
    assert versions.current() == 0
    return caught.value.rows


def add(table: str, **row: str) -> Callable[[Book], None]:
    return lambda book: book[table].append(row)


def put(table: str, number: int, **cells: str) -> Callable[[Book], None]:
    return lambda book: book[table][number].update(cells)


RUN = {
    "press": "P1",
    "crop": "rapeseed",
    "started_at": "2025-08-09T06:00:00+02:00",
    "hours_h": "5",
    "seed_kg": "90",
}

SPOILT: list[tuple[str, Callable[[Book], None], tuple[str, int, str], str, str]] = [
    (
        "a number with a comma",
        put("runs", 0, seed_kg="180,5"),
        ("runs.csv", 2, "seed_kg"),
        "180,5",
        "decimal point",
    ),
    (
        "a negative amount of seed",
        put("runs", 1, seed_kg="-1"),
        ("runs.csv", 3, "seed_kg"),
        "-1",
        "Write a number from 0 to",
    ),
    (
        "a negative amount of cake",
        put("runs", 1, cake_kg="-0.5"),
        ("runs.csv", 3, "cake_kg"),
        "-0.5",
        "Write a number from 0 to",
    ),
    (
        "hours without end",
        put("runs", 1, hours_h="999999999"),
        ("runs.csv", 3, "hours_h"),
        "999999999",
        "Write a number from 0 to 8784 h.",
    ),
    (
        "negative hours",
        put("runs", 1, hours_h="-2"),
        ("runs.csv", 3, "hours_h"),
        "-2",
        "Write a number from 0 to 8784 h.",
    ),
    (
        "more than six decimals",
        put("runs", 0, oil_kg="1.1234567"),
        ("runs.csv", 2, "oil_kg"),
        "1.1234567",
        "6 decimals",
    ),
    (
        "a percentage above 100",
        put("runs", 0, moisture_pct="101"),
        ("runs.csv", 2, "moisture_pct"),
        "101",
        "Write a number from 0 to 100 %.",
    ),
    ("an empty required cell", put("runs", 0, crop=""), ("runs.csv", 2, "crop"), "", "must not be empty"),
    ("an unknown press", put("runs", 3, press="P9"), ("runs.csv", 5, "press"), "P9", "none of this name"),
    (
        "an unknown crop",
        put("runs", 3, crop="hemp"),
        ("runs.csv", 5, "crop"),
        "hemp",
        "none of this name, neither in crops.csv",
    ),
    (
        "an unknown part type",
        put("parts", 2, part_type="SC9"),
        ("parts.csv", 4, "part_type"),
        "SC9",
        "neither in part_types.csv",
    ),
    (
        "an unknown part it was made from",
        put("parts", 1, made_from="D0"),
        ("parts.csv", 3, "made_from"),
        "D0",
        "neither in parts.csv",
    ),
    (
        "an unknown position",
        put("services", 0, position="dye"),
        ("services.csv", 2, "position"),
        "dye",
        '"P1" has no position',
    ),
    (
        "another press's position",
        put("incidents", 0, press="P2"),
        ("incidents.csv", 2, "position"),
        "die",
        '"P2" has no position',
    ),
    (
        "an unknown rule",
        put("services", 0, rule="die"),
        ("services.csv", 2, "rule"),
        "die",
        "neither in rules.csv",
    ),
    (
        "an unknown service",
        put("measurements", 1, service="s9"),
        ("measurements.csv", 3, "service"),
        "s9",
        "neither in services.csv",
    ),
    (
        "a rule for an unknown kind",
        put("rules", 0, kind="dies"),
        ("rules.csv", 2, "kind"),
        "dies",
        "screw, worm, shaft, die, choke, barrel, cage_bar",
    ),
    (
        "a rule for an unknown position",
        put("rules", 1, position="worm"),
        ("rules.csv", 3, "position"),
        "worm",
        '"P1" has no position',
    ),
    (
        "a rule for a position that no press has",
        put("rules", 0, position="worm 1"),
        ("rules.csv", 2, "position"),
        "worm 1",
        "no press has",
    ),
    (
        "a rule after an unknown incident",
        put("rules", 1, after_incident="metal bang"),
        ("rules.csv", 3, "after_incident"),
        "metal bang",
        '"bang" is not known',
    ),
    (
        "a rule after an unknown crop",
        put("rules", 0, after_crop="hemp"),
        ("rules.csv", 2, "after_crop"),
        "hemp",
        "neither in crops.csv",
    ),
    ("a rule of no length", put("rules", 0, every_h="0"), ("rules.csv", 2, "every_h"), "0", "above 0"),
    (
        "an unknown action",
        put("rules", 0, action="turn over"),
        ("rules.csv", 2, "action"),
        "turn over",
        "inspect, measure",
    ),
    (
        "something other than yes",
        put("rules", 0, at_limit="true"),
        ("rules.csv", 2, "at_limit"),
        "true",
        "yes or leave",
    ),
    (
        "a type for an unknown crop",
        put("part_types", 0, for_crops="rapeseed hemp"),
        ("part_types.csv", 2, "for_crops"),
        "rapeseed hemp",
        'no crop "hemp"',
    ),
    ("five edges", put("part_types", 0, edges="5"), ("part_types.csv", 2, "edges"), "5", "1 to 4"),
    (
        "a crop of two words",
        add("crops", crop="sun flower"),
        ("crops.csv", 4, "crop"),
        "sun flower",
        "without spaces",
    ),
    (
        "a share above 1",
        put("positions", 2, share="1.5"),
        ("positions.csv", 4, "share"),
        "1.5",
        "from 0 to 1.",
    ),
    (
        "a barrel of two words",
        put("positions", 0, barrel="left one"),
        ("positions.csv", 2, "barrel"),
        "left one",
        "no space",
    ),
    (
        "an edge that the type lacks",
        put("fittings", 0, edge="C"),
        ("fittings.csv", 2, "edge"),
        "C",
        "no edge C; write A or B",
    ),
    (
        "an edge of a part with one",
        put("fittings", 2, edge="A"),
        ("fittings.csv", 4, "edge"),
        "A",
        "leave the cell empty",
    ),
    (
        "a fitting without its edge",
        put("fittings", 0, edge=""),
        ("fittings.csv", 2, "edge"),
        "",
        "2 edges: say which one",
    ),
    (
        "a gauge without its edge",
        put("measurements", 0, edge=""),
        ("measurements.csv", 2, "edge"),
        "",
        "2 edges: say which one",
    ),
    (
        "work on an edge that the type lacks",
        put("services", 0, edge="D"),
        ("services.csv", 2, "edge"),
        "D",
        "no edge D",
    ),
    (
        "an edge without its part",
        put("services", 0, part=""),
        ("services.csv", 2, "edge"),
        "A",
        "name the part too",
    ),
    (
        "a part taken off before it was fitted",
        put("fittings", 0, removed_at="2025-08-01T07:59:59+02:00"),
        ("fittings.csv", 2, "removed_at"),
        "2025-08-01T07:59:59+02:00",
        "not after fitted_at",
    ),
    (
        "a part taken off as it was fitted",
        put("fittings", 0, removed_at="2025-08-01T08:00:00+02:00"),
        ("fittings.csv", 2, "removed_at"),
        "2025-08-01T08:00:00+02:00",
        "not after fitted_at",
    ),
    (
        "a run that ends before it starts",
        put("runs", 0, ended_at="2025-08-04T05:00:00+02:00"),
        ("runs.csv", 2, "ended_at"),
        "2025-08-04T05:00:00+02:00",
        "ends after it started",
    ),
    (
        "a plan that ends before it starts",
        put("plan", 0, end_on="2026-07-31"),
        ("plan.csv", 2, "end_on"),
        "2026-07-31",
        "first day or later",
    ),
    (
        "a reason without a day",
        put("parts", 0, retired_because="worn"),
        ("parts.csv", 2, "retired_because"),
        "worn",
        "needs its day",
    ),
    (
        "a part made from itself",
        put("parts", 0, made_from="D5-01"),
        ("parts.csv", 2, "made_from"),
        "D5-01",
        "from itself",
    ),
    (
        "a run through an unknown barrel",
        put("runs", 2, through="middle"),
        ("runs.csv", 4, "through"),
        "middle",
        'no barrel "middle"',
    ),
    (
        "a run through one barrel twice",
        put("runs", 2, through="left left"),
        ("runs.csv", 4, "through"),
        "left left",
        "stands twice",
    ),
    (
        "a barrel of a press that names none",
        put("runs", 0, through="left"),
        ("runs.csv", 2, "through"),
        "left",
        '"P1" has no barrel',
    ),
    (
        "a name that is too long",
        put("presses", 0, name="x" * 121),
        ("presses.csv", 2, "name"),
        "x" * 121,
        "at most 120 characters",
    ),
    (
        "a zone that is none",
        put("mill", 0, time_zone="Vienna"),
        ("mill.csv", 2, "time_zone"),
        "Vienna",
        "no such time zone",
    ),
    (
        "an instant that is none",
        put("readings", 0, read_at="4.8.2025"),
        ("readings.csv", 2, "read_at"),
        "4.8.2025",
        "2026-03-01T06:30:00+01:00",
    ),
    (
        "a run that begins before another ends",
        add("runs", ref="r5", **RUN | {"started_at": "2025-08-04T17:59:59+02:00"}),
        ("runs.csv", 6, "started_at"),
        "2025-08-04T17:59:59+02:00",
        'run "r1" (line 2',
    ),
    (
        "a run through all beside one through the left",
        put("runs", 3, through=""),
        ("runs.csv", 5, "started_at"),
        "2025-08-05T07:00:00+02:00",
        'run "r3" (line 4',
    ),
    (
        "two parts on one position",
        add(
            "fittings",
            part="D5-02",
            edge="A",
            press="P1",
            position="die",
            fitted_at="2025-08-20T08:00:00+02:00",
            removed_at="2025-08-21T08:00:00+02:00",
        ),
        ("fittings.csv", 5, "fitted_at"),
        "2025-08-20T08:00:00+02:00",
        'position holds one part at a time: this overlaps part "D5-01" on P1 die (line 2',
    ),
    (
        "one part in two places",
        add("fittings", part="S-01", press="P2", position="left die", fitted_at="2026-01-01T08:00:00+01:00"),
        ("fittings.csv", 5, "fitted_at"),
        "2026-01-01T08:00:00+01:00",
        "sits in one place at a time",
    ),
    (
        "the same ref twice",
        add("runs", ref="r1", **RUN),
        ("runs.csv", 6, "ref"),
        "r1",
        "line 2 has the same ref",
    ),
    (
        "the same reading twice",
        add("readings", press="P1", read_at="2025-08-04T03:55:00Z", meter_h="7"),
        ("readings.csv", 4, "read_at"),
        "2025-08-04T03:55:00Z",
        "line 2 has the same press and read_at",
    ),
    ("two mills", add("mill", name="Another", time_zone="UTC"), ("mill.csv", 3, ""), "", "one mill"),
]


@pytest.mark.parametrize(
    ("spoil", "place", "value", "word"), [each[1:] for each in SPOILT], ids=[each[0] for each in SPOILT]
)
def test_it_refuses(
    spoil: Callable[[Book], None], place: tuple[str, int, str], value: str, word: str, tmp_path: Path
) -> None:
    book = small_book()
    spoil(book)

    rows = refused(write_book(tmp_path, book))

    assert [(row.file, row.line, row.column) for row in rows] == [place], [str(row) for row in rows]
    assert rows[0].value == value
    assert word in rows[0].reason


def test_a_third_barrel_is_named_on_every_row_of_the_press(tmp_path: Path) -> None:
    book = small_book()
    book["positions"].append({"press": "P2", "position": "mid die", "kind": "die", "barrel": "mid"})

    rows = refused(write_book(tmp_path, book))

    assert [(row.line, row.column, row.value) for row in rows] == [
        (4, "barrel", "left"),
        (5, "barrel", "right"),
        (6, "barrel", "mid"),
    ]
    assert all("one or two barrels, this one would have left, mid, right" in row.reason for row in rows)


def test_a_run_that_still_goes_on_lets_none_begin_after_it(tmp_path: Path) -> None:
    book = small_book()
    book["runs"][0] |= {"ended_at": "", "hours_h": ""}

    rows = refused(write_book(tmp_path, book))

    assert [(row.file, row.line) for row in rows] == [("runs.csv", 3)]
    assert "still going on" in rows[0].reason


def test_the_small_book_itself_is_taken(tmp_path: Path) -> None:
    take(write_book(tmp_path, small_book()))

    assert Run.objects.count() == 4
    assert [entry.action for entry in AuditEntry.objects.all()] == ["import"]
    assert versions.current() > 0


def test_every_bad_row_is_named_at_once(tmp_path: Path) -> None:
    book = small_book()
    for name in ("seed_kg", "oil_kg"):
        book["runs"][0][name] = "much"
    book["runs"][2]["press"] = "P8"
    book["fittings"][0]["edge"] = "D"
    book["parts"][0]["retired_because"] = "worn"
    book["presses"].append({"press": "P1"})
    write_book(tmp_path, book)
    (tmp_path / "run.csv").write_bytes(b"ref\r\n")

    rows = refused(tmp_path)

    assert {(row.file, row.line, row.column) for row in rows} == {
        ("fittings.csv", 2, "edge"),
        ("parts.csv", 2, "retired_because"),
        ("presses.csv", 4, "press"),
        ("run.csv", 0, ""),
        ("runs.csv", 2, "seed_kg"),
        ("runs.csv", 2, "oil_kg"),
        ("runs.csv", 4, "press"),
    }


def test_a_circle_of_parts_is_named_on_each_of_its_rows(tmp_path: Path) -> None:
    book = small_book()
    book["parts"][0]["made_from"] = "D5-02"

    assert [(row.line, row.column) for row in refused(write_book(tmp_path, book))] == [
        (2, "made_from"),
        (3, "made_from"),
    ]


def test_a_stored_run_in_the_way_is_named(tmp_path: Path) -> None:
    take(write_book(tmp_path / "first", small_book()))
    later = {"runs": [{"ref": "x1", **RUN, "started_at": "2025-08-05T17:59:00+02:00"}]}

    with pytest.raises(BadLogbook) as caught:
        take(write_book(tmp_path / "second", later))

    (row,) = caught.value.rows
    assert (row.file, row.line, row.column) == ("runs.csv", 2, "started_at")
    assert 'run "r2" (stored here, 2025-08-05T06:00:00+02:00 to 2025-08-05T18:00:00+02:00)' in row.reason
    assert Run.objects.count() == 4


def test_a_stored_fitting_in_the_way_is_named(tmp_path: Path) -> None:
    take(write_book(tmp_path / "first", small_book()))
    fitting = {
        "part": "D5-02",
        "edge": "A",
        "press": "P1",
        "position": "die",
        "fitted_at": "2025-10-01T08:00:00+02:00",
    }

    with pytest.raises(BadLogbook) as caught:
        take(write_book(tmp_path / "second", {"fittings": [fitting]}))

    assert 'part "D5-01" on P1 die (stored here' in caught.value.rows[0].reason


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        (
            "crops.csv",
            b"crop,colour\r\nrapeseed,y\r\nsunflower,y\r\n",
            ("crops.csv", 1, "colour", "not known"),
        ),
        (
            "crops.csv",
            b"crop,crop\r\nrapeseed,y\r\nsunflower,y\r\n",
            ("crops.csv", 1, "crop", "stands twice"),
        ),
        (
            "prices.csv",
            b"item,price\r\noil_kg,3\r\n",
            ("prices.csv", 1, "from_on", "missing, and it is required"),
        ),
        (
            "prices.csv",
            b"item;from_on;price\r\noil_kg;2025-01-01;3\r\n",
            ("prices.csv", 1, "item;from_on;price", "commas between"),
        ),
        ("prices.csv", b"", ("prices.csv", 0, "", "name the columns")),
        (
            "prices.csv",
            b"item,from_on,price,\r\noil_kg,2025-01-01,3,dear\r\n",
            ("prices.csv", 1, "", "no name"),
        ),
        (
            "prices.csv",
            b"item,from_on,price\r\noil_kg,2025-01-01\r\n",
            ("prices.csv", 2, "", "2 cells, the header has 3"),
        ),
        ("prices.csv", b'item,from_on,price\r\n"oil" kg,2025-01-01,3\r\n', ("prices.csv", 2, "", "quotes")),
        ("prices.csv", b'item,from_on,price\r\n"oil_kg,2025-01-01,3\r\n', ("prices.csv", 2, "", "quotes")),
        ("prices.csv", b"item,from_on,price\r\noil\0kg,2025-01-01,3\r\n", ("prices.csv", 2, "", "NUL byte")),
        (
            "prices.csv",
            b"item,from_on,price\r\nsch\xf6n,2025-01-01,3\r\n",
            ("prices.csv", 2, "", "byte 4 of this line is not UTF-8"),
        ),
        ("prices.csv", "item,from_on,price\r\n".encode("utf-16"), ("prices.csv", 0, "", "UTF-16")),
        ("Runs.csv", b"ref\r\n", ("Runs.csv", 0, "", "must be called runs.csv")),
        ("runs.xlsx", b"PK", ("runs.xlsx", 0, "", "no file of this name")),
    ],
)
def test_a_file_that_is_not_as_it_must_be_is_named(
    name: str, text: bytes, told: tuple[str, int, str, str], tmp_path: Path
) -> None:
    write_book(tmp_path, small_book())
    (tmp_path / name).write_bytes(text)

    rows = [row for row in refused(tmp_path) if row.file == name]

    assert told[:3] in [(row.file, row.line, row.column) for row in rows], [str(row) for row in rows]
    assert told[3] in " ".join(row.reason for row in rows)


def test_lines_are_counted_as_an_editor_counts_them(tmp_path: Path) -> None:
    write_book(tmp_path, small_book())
    text = (
        b"\xef\xbb\xbfitem,from_on,price\r\n"
        b'"oil\r\nkg",2025-01-01,3\r\n'
        b"\r\n"
        b",,\r\n"
        b'"a ""quoted"", one",2025-01-01,dear\n'
    )
    (tmp_path / "prices.csv").write_bytes(text)

    (row,) = refused(tmp_path)

    assert (row.file, row.line, row.column, row.value) == ("prices.csv", 6, "price", "dear")


def test_empty_rows_and_columns_of_a_spreadsheet_are_passed_over(tmp_path: Path) -> None:
    write_book(tmp_path, small_book())
    text = b"item,,from_on,price,,\r\noil_kg,,2025-01-01,3,,\r\n,,,,,\r\n\r\n,,,,,\r\n"
    (tmp_path / "prices.csv").write_bytes(text)

    take(tmp_path)

    assert [(price.item, price.price) for price in Price.objects.all()] == [("oil_kg", 3)]


def test_what_a_desktop_leaves_in_a_folder_is_passed_over(tmp_path: Path) -> None:
    write_book(tmp_path, small_book())
    for name in (".DS_Store", ".~lock.runs.csv#", "Thumbs.db", "desktop.ini"):
        (tmp_path / name).write_bytes(b"\0\1")

    take(tmp_path)

    assert Run.objects.count() == 4


def test_a_place_without_a_logbook_is_refused_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(Unreadable, match=r"There is no folder or archive"):
        take(tmp_path / "nowhere")
    with pytest.raises(Unreadable, match=r"holds no logbook"):
        take(tmp_path)


def test_the_command_lists_the_rows_and_ends_with_1(tmp_path: Path) -> None:
    book = small_book()
    book["runs"][0]["seed_kg"] = "180,5"
    book["crops"][0]["crop"] = "rape seed"
    write_book(tmp_path, book)

    with pytest.raises(CommandError) as caught:
        call_command("import_logbook", tmp_path)

    told = str(caught.value)
    assert caught.value.returncode == 1
    assert (
        'runs.csv, line 2, column seed_kg, value "180,5": write a plain number with a decimal point' in told
    )
    assert 'crops.csv, line 2, column crop, value "rape seed": a crop is a tag without spaces' in told
    assert "Nothing was stored" in told


def test_a_dry_run_says_the_same_and_stores_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_book(tmp_path, small_book())

    call_command("import_logbook", tmp_path, "--dry-run")

    assert "It would store 33 new rows" in re.sub(r"\s+", " ", capsys.readouterr().out)
    assert not Press.objects.exists()
    assert not AuditEntry.objects.exists()
    assert versions.current() == 0


def test_a_name_that_spans_lines_stays_on_one_line_of_the_report() -> None:
    row = BadRow("runs.csv", 7, "note", "two\r\nlines", "no\nbreak.")

    assert str(row) == r'runs.csv, line 7, column note, value "two\r\nlines": no\nbreak.'
