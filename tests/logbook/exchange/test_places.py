"""Folders and archives: written whole or not at all, read within limits, never over anything else."""

from __future__ import annotations

import io
import resource
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tests.logbook.exchange.books import files, small_book, write_book
from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.logbook.exchange.importing import import_logbook
from wearlog.logbook.exchange.problems import BadLogbook, Unreadable
from wearlog.runs.models import Run

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
pytestmark = pytest.mark.django_db


def take(source: Path) -> None:
    import_logbook(by=None, at=NOW, source=source)


def give(target: Path) -> Path:
    export_logbook(by=None, target=target)
    return target


@pytest.fixture
def stored(tmp_path: Path) -> None:
    take(write_book(tmp_path / "stored", small_book()))


@contextmanager
def files_no_longer_than(size: int) -> Iterator[None]:
    """Let the system refuse to write longer files, as a full disk does."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def beside(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


# Writing


def test_an_older_logbook_in_the_folder_is_replaced(stored: None, tmp_path: Path) -> None:
    give(tmp_path / "out")
    Run.objects.filter(ref="r1").update(note="later")

    give(tmp_path / "out")

    assert b"later" in (tmp_path / "out" / "runs.csv").read_bytes()
    assert beside(tmp_path) == ["out", "stored"]


def test_an_empty_folder_and_new_folders_above_it_are_taken(stored: None, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()

    assert len(files(give(tmp_path / "empty"))) == 16
    assert len(files(give(tmp_path / "a" / "b" / "out"))) == 16


def test_a_folder_that_holds_something_else_is_refused_and_untouched(stored: None, tmp_path: Path) -> None:
    target = write_book(tmp_path / "mine", small_book())
    (target / "letter.txt").write_text("dear Ada")
    before = files(target)

    with pytest.raises(Unreadable, match=r"letter\.txt.*new or an empty folder"):
        give(target)

    assert files(target) == before
    assert beside(tmp_path) == ["mine", "stored"]


def test_a_file_in_the_way_is_refused(stored: None, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("dear Ada")
    (tmp_path / "out.zip").write_text("dear Ada")
    with zipfile.ZipFile(tmp_path / "photos.zip", "w") as archive:
        archive.writestr("press.jpg", b"")

    for name in ("out", "out.zip", "photos.zip"):
        before = (tmp_path / name).read_bytes()
        with pytest.raises(Unreadable):
            give(tmp_path / name)
        assert (tmp_path / name).read_bytes() == before


@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_a_disk_that_fills_up_leaves_what_was_there(stored: None, tmp_path: Path, name: str) -> None:
    target = give(tmp_path / name)
    before = files(target) if target.is_dir() else target.read_bytes()
    Run.objects.filter(ref="r1").update(note="later")

    with files_no_longer_than(300), pytest.raises(Unreadable, match="can't be written"):
        give(target)

    assert (files(target) if target.is_dir() else target.read_bytes()) == before
    assert beside(tmp_path) == sorted([name, "stored"])


@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_a_place_that_cannot_be_is_one_clear_sentence(stored: None, tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_text("")

    with pytest.raises(CommandError, match="can't be written"):
        call_command("export_logbook", tmp_path / "file" / name)


def test_an_archive_replaces_an_older_one_and_is_the_same_bytes(stored: None, tmp_path: Path) -> None:
    first = give(tmp_path / "out.zip").read_bytes()

    assert give(tmp_path / "out.zip").read_bytes() == first
    with zipfile.ZipFile(tmp_path / "out.zip") as archive:
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert {name: archive.read(name) for name in archive.namelist()} == files(give(tmp_path / "out"))
    assert beside(tmp_path) == ["out", "out.zip", "stored"]


def test_the_command_says_how_much_it_wrote(
    stored: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("export_logbook", tmp_path / "out")

    assert capsys.readouterr().out == f"Wrote 33 rows to {tmp_path / 'out'}.\n"


# Reading archives


def packed(path: Path, entries: dict[str, bytes], compression: int = zipfile.ZIP_DEFLATED) -> Path:
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, content in entries.items():
            archive.writestr(name, content)
    return path


def refused(path: Path) -> str:
    with pytest.raises(Unreadable) as caught:
        take(path)
    assert not Run.objects.exists()
    return caught.value.message


def test_an_archive_that_would_blow_up_is_refused(tmp_path: Path) -> None:
    bomb = packed(tmp_path / "bomb.zip", {"crops.csv": b"crop\r\n" + b"a" * 5_000_000})

    assert "unpacks to more than 100 times its size" in refused(bomb)


def test_an_archive_that_is_too_large_unpacked_is_refused(tmp_path: Path) -> None:
    large = packed(tmp_path / "large.zip", {"crops.csv": b"crop\r\n" + bytes(range(65, 90)) * 2_100_000})

    told = refused(large)

    assert "50 MB" in told
    assert "unpack it and name the folder" in told


def test_an_archive_of_too_many_entries_is_refused(tmp_path: Path) -> None:
    many = packed(tmp_path / "many.zip", {f"{number}.csv": b"x" for number in range(1001)})

    assert "more than 1,000 entries" in refused(many)


def test_an_archive_whose_entry_lies_about_its_size_is_refused(tmp_path: Path) -> None:
    path = packed(tmp_path / "lie.zip", {"crops.csv": b"crop\r\nrapeseed\r\n"}, zipfile.ZIP_STORED)
    content = bytearray(path.read_bytes())
    at = content.index(b"PK\x01\x02")
    content[at + 24 : at + 28] = (6).to_bytes(4, "little")  # the stated size, unpacked
    path.write_bytes(content)

    assert "not a whole .zip archive" in refused(path)


def test_an_archive_cut_short_is_refused(stored: None, tmp_path: Path) -> None:
    whole = give(tmp_path / "out.zip").read_bytes()
    (tmp_path / "short.zip").write_bytes(whole[: len(whole) // 2])

    with pytest.raises(Unreadable, match=r"not a whole \.zip archive"):
        take(tmp_path / "short.zip")


def test_a_spoilt_byte_in_an_archive_is_found(stored: None, tmp_path: Path) -> None:
    content = bytearray(give(tmp_path / "out.zip").read_bytes())
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        entry = archive.getinfo("runs.csv")
    content[entry.header_offset + 60] ^= 0xFF
    (tmp_path / "spoilt.zip").write_bytes(content)

    with pytest.raises(Unreadable, match=r"not a whole \.zip archive"):
        take(tmp_path / "spoilt.zip")


def test_a_file_that_is_no_archive_is_refused(tmp_path: Path) -> None:
    (tmp_path / "runs.csv").write_text("ref\r\n")

    assert "name the folder" in refused(tmp_path / "runs.csv")


def test_an_archive_with_two_folders_or_one_file_twice_is_refused(tmp_path: Path) -> None:
    two = packed(tmp_path / "two.zip", {"a/crops.csv": b"crop\r\n", "b/mill.csv": b"name\r\n"})
    assert "more than one folder" in refused(two)

    with zipfile.ZipFile(tmp_path / "twice.zip", "w") as archive:
        archive.writestr("crops.csv", b"crop\r\n")
        with pytest.warns(UserWarning, match="Duplicate name"):
            archive.writestr("crops.csv", b"crop\r\nhemp\r\n")
    assert "holds crops.csv twice" in refused(tmp_path / "twice.zip")


def test_an_unknown_file_in_an_archive_is_named(tmp_path: Path) -> None:
    path = packed(
        tmp_path / "book.zip", {"book/crops.csv": b"crop\r\nhemp\r\n", "book/crop.csv": b"crop\r\n"}
    )

    with pytest.raises(BadLogbook) as caught:
        take(path)

    assert [(row.file, row.line) for row in caught.value.rows] == [("crop.csv", 0)]


def test_what_a_desktop_adds_to_an_archive_is_passed_over(tmp_path: Path) -> None:
    entries = {
        "book/crops.csv": b"crop\r\nhemp\r\n",
        "__MACOSX/book/._crops.csv": b"\0",
        "book/.DS_Store": b"\0",
    }

    take(packed(tmp_path / "book.zip", entries))


def test_a_folder_has_no_limit_of_size(tmp_path: Path) -> None:
    """The limits are for archives that somebody sends; a folder is already unpacked."""
    (tmp_path / "crops.csv").write_bytes(b"crop,note\r\nhemp," + b"a" * 5_000_000 + b"\r\n")

    take(tmp_path)
    give(tmp_path / "again")

    assert (tmp_path / "again" / "crops.csv").stat().st_size > 5_000_000
