"""An import keeps nobody from writing: it checks without a lock, and looks once more before it stores."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from tests.logbook.exchange.books import small_book, write_book
from wearlog.equipment.models import Press
from wearlog.logbook import actions
from wearlog.logbook.entries import NewRun
from wearlog.logbook.exchange.importing import ImportCounts, import_logbook
from wearlog.logbook.exchange.problems import BadLogbook, Conflicting
from wearlog.people.models import Mill
from wearlog.people.refusals import Refused
from wearlog.runs.models import Crop, Run

FIRST = datetime(2026, 3, 4, 12, tzinfo=UTC)
NOW = datetime(2026, 3, 5, 12, tzinfo=UTC)
Book = dict[str, list[dict[str, str]]]


@pytest.fixture
def stored(db: None, tmp_path: Path) -> None:
    import_logbook(by=None, at=FIRST, source=write_book(tmp_path / "first", small_book()))


def more_runs(book: Book) -> Book:
    """Two runs that are not stored yet."""
    beside = {"press": "P1", "crop": "rapeseed", "hours_h": "5", "seed_kg": "90"}
    book["runs"] += [
        beside | {"ref": "r8", "started_at": "2025-08-20T06:00:00+02:00"},
        beside | {"ref": "r9", "started_at": "2025-08-21T06:00:00+02:00"},
    ]
    return book


class Meanwhile:
    """Does something between the check and the storing, the first so many times, and counts."""

    def __init__(self, act: Callable[[int], object], times: int = 1) -> None:
        self.act, self.times, self.count = act, times, 0

    def __call__(self) -> None:
        self.count += 1
        if self.count <= self.times:
            self.act(self.count)


def enter(ref: str, started: str) -> Run:
    entry = NewRun(
        ref=ref,
        press_id=Press.objects.get(code="P1").pk,
        crop_id=Crop.objects.get(code="rapeseed").pk,
        started_at=datetime.fromisoformat(started),
        hours_h=Decimal(5),
        seed_kg=Decimal(100),
    )
    return actions.log_run(by=None, at=NOW, entry=entry)


@pytest.mark.usefixtures("stored")
def test_entries_that_the_logbook_says_nothing_about_do_not_disturb_it(tmp_path: Path) -> None:
    source = write_book(tmp_path / "more", more_runs(small_book()))
    meanwhile = Meanwhile(lambda _time: enter("of my own", "2026-03-01T06:00:00+00:00"))

    taken = import_logbook(by=None, at=NOW, source=source, before_storing=meanwhile)

    assert taken == ImportCounts(new=2, filled=0, replaced=0, kept=0, same=33)
    assert meanwhile.count == 1
    assert set(Run.objects.values_list("ref", flat=True)) == {"r1", "r2", "r3", "r4", "r8", "r9", "of my own"}


@pytest.mark.usefixtures("stored")
def test_an_entry_of_the_same_key_meanwhile_is_a_conflict_and_stays(tmp_path: Path) -> None:
    source = write_book(tmp_path / "more", more_runs(small_book()))
    meanwhile = Meanwhile(lambda _time: enter("r8", "2025-08-20T04:00:00+00:00"))

    with pytest.raises(Conflicting) as caught:
        import_logbook(by=None, at=NOW, source=source, before_storing=meanwhile)

    assert [(each.key, each.column) for each in caught.value.conflicts] == [("r8", "seed_kg")]
    assert Run.objects.get(ref="r8").seed_kg == 100
    assert not Run.objects.filter(ref="r9").exists()


@pytest.mark.usefixtures("stored")
def test_a_run_entered_meanwhile_in_the_same_hours_is_told_with_its_line(tmp_path: Path) -> None:
    source = write_book(tmp_path / "more", more_runs(small_book()))
    meanwhile = Meanwhile(lambda _time: enter("mine", "2025-08-20T06:00:00+00:00"))

    with pytest.raises(BadLogbook, match=r'line 6, .*value "2025-08-20T06:00:00\+02:00".*meets run "mine"'):
        import_logbook(by=None, at=NOW, source=source, before_storing=meanwhile)

    assert not Run.objects.filter(ref="r9").exists()


@pytest.mark.usefixtures("stored")
def test_a_press_changed_meanwhile_has_the_logbook_checked_once_more(tmp_path: Path) -> None:
    source = write_book(tmp_path / "more", more_runs(small_book()))

    def rename(time: int) -> None:
        press = Press.objects.get(code="P2")
        press.name = f"changed {time} times"
        actions.save_thing(by=None, at=NOW, thing=press)

    meanwhile = Meanwhile(rename)
    taken = import_logbook(by=None, at=NOW, source=source, on_conflict="keep", before_storing=meanwhile)
    assert (taken.new, taken.kept, meanwhile.count) == (2, 1, 2)


@pytest.mark.usefixtures("stored")
def test_a_log_that_never_rests_ends_the_import_and_says_so(tmp_path: Path) -> None:
    source = write_book(tmp_path / "more", more_runs(small_book()))

    def change(time: int) -> None:
        mill = Mill.current()
        mill.currency = "EUR" if time % 2 else "CHF"
        actions.save_thing(by=None, at=NOW, thing=mill)

    meanwhile = Meanwhile(lambda time: change(time + 1), times=99)
    with pytest.raises(Refused, match="changed 5 times while this logbook was checked"):
        import_logbook(by=None, at=NOW, source=source, on_conflict="keep", before_storing=meanwhile)
    assert not Run.objects.filter(ref="r8").exists()
