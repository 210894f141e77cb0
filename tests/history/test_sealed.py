"""Sealed runs say what the runs' rows say, and are left aside as soon as they may not."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from tests.mills.forecast_shop import Shop
from tests.mills.short_runs import log_short_run
from wearlog.history import cache, sealed, sealing, versions
from wearlog.history.models import LogVersion, PressVersion, SealedRuns
from wearlog.history.runs import PressLog, runs_and_readings, runs_and_readings_uncached
from wearlog.history.versions import Change
from wearlog.history.yields import WEIGHED
from wearlog.logbook import actions
from wearlog.runs.models import Crop, Run

NOW = datetime(2026, 5, 1, 12, tzinfo=UTC)
OLD = datetime(2026, 3, 2, 6, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _few_runs_suffice(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sealing, "FEWEST", 1)


@pytest.fixture
def shop(transactional_db: None) -> Shop:
    """Two presses, each with four old runs and one that is open, all sealed."""
    shop = Shop()
    for press in ("P1", "P2"):
        shop.press(press)
        for number in range(4):
            shop.run(f"2026-03-0{2 + number} 06:00", 5, 500 + number, press=press)
        shop.run("2026-04-28 06:00", 4, 300, press=press)
    Run.objects.filter(started_at__lt=NOW - timedelta(days=30)).update(oil_kg=Decimal("170.25"))
    versions.touch()
    assert sealing.seal(at=NOW) == 2
    return shop


def presses() -> list[int]:
    return list(PressVersion.objects.order_by("press").values_list("press", flat=True))


def as_plain(found: dict[int, PressLog]) -> dict[int, dict[int, object]]:
    """By press and run: all that is known of it."""
    plain: dict[int, dict[int, object]] = {}
    for press, of in found.items():
        assert of.runs is not None
        names = (
            "start",
            "ended",
            "recorded_h",
            "seed_kg",
            "crop_id",
            "slot",
            "drive_hz",
            "purge",
            "seed_how",
        )
        columns = [getattr(of.runs, name).tolist() for name in names]
        rows = zip(of.runs.id.tolist(), *columns, strict=True)
        plain[press] = {key: (repr(row), of.runs.through.get(key, "")) for key, *row in rows}
    return plain


def rows_read(read: Callable[[], object]) -> str:
    """The statement that reads the runs' rows."""
    with CaptureQueriesContext(connection) as queries:
        read()
    return " ".join(query["sql"] for query in queries if 'FROM "runs_run"' in query["sql"])


def as_sealed() -> dict[int, dict[int, object]]:
    cache.clear_all()
    found = as_plain(runs_and_readings(presses(), every=True))
    assert found == as_plain(runs_and_readings_uncached(presses(), every=True))
    return found


def valid() -> set[int]:
    cache.clear_all()
    return set(sealed.sealed(presses(), sealed.FOR_FORECASTS))


def test_a_process_that_has_just_started_reads_the_open_rows_alone(shop: Shop) -> None:
    assert {press: len(runs) for press, runs in as_sealed().items()} == dict.fromkeys(presses(), 5)
    cache.clear_all()
    assert "started_at" in rows_read(lambda: runs_and_readings(presses(), every=True)).split("WHERE")[1]
    sealing.forget()
    cache.clear_all()
    whole = rows_read(lambda: runs_and_readings(presses(), every=True)).split("WHERE")[1]
    assert "started_at" not in whole


def test_what_runs_gave_is_sealed_too(shop: Shop) -> None:
    ids = {press: np.array(sorted(runs)) for press, runs in as_sealed().items()}
    cache.clear_all()
    found = WEIGHED.of(ids, every=True)
    for press in presses():
        np.testing.assert_array_equal(found[press]["oil_kg"], [170.25] * 4 + [np.nan])


def test_an_entry_of_today_leaves_the_seals_valid(shop: Shop) -> None:
    first, crop = presses()[0], Crop.objects.get()
    log_short_run(press_id=first, crop_id=crop.pk, begun=NOW - timedelta(hours=9), at=NOW)
    assert valid() == set(presses())
    assert len(as_sealed()[first]) == 6


def test_a_run_entered_or_voided_among_the_sealed_ones_breaks_the_seal_of_its_press(shop: Shop) -> None:
    first, second = presses()
    run = Run.objects.filter(press_id=first).order_by("started_at")[1]
    actions.void(by=None, at=NOW, record=run, reason="typed twice")
    assert valid() == {second}
    assert run.pk not in as_sealed()[first]


def test_a_run_moved_out_of_the_sealed_ones_breaks_the_seal(shop: Shop) -> None:
    first = presses()[0]
    change = Change(runs=frozenset({first}), runs_from={first: OLD})
    with transaction.atomic():
        versions.touch(change)
    assert first not in valid()


@pytest.mark.parametrize("change", [None, "unsaid"])
def test_a_write_that_does_not_say_which_runs_it_touched_breaks_the_seal(
    shop: Shop, change: str | None
) -> None:
    first, second = presses()
    versions.touch(None if change is None else Change(runs=frozenset({first})))
    assert valid() == (set() if change is None else {second})


def test_an_older_program_that_knows_no_seals_breaks_them_by_any_write(shop: Shop) -> None:
    first, second = presses()
    PressVersion.raise_to(LogVersion.raise_by_one(), fields=("runs",), press_ids=[first])
    assert valid() == {second}
    # Nor does a later write that touches nothing sealed make it right again.
    versions.touch(Change(runs=frozenset({first}), runs_from={first: NOW}))
    assert valid() == {second}


def test_a_write_that_is_rolled_back_leaves_the_seal_as_it_was(shop: Shop) -> None:
    first = presses()[0]
    with transaction.atomic():
        versions.touch(Change(runs=frozenset({first}), runs_from={first: NOW}))
        transaction.set_rollback(True)
    assert valid() == set(presses())


def test_within_a_transaction_nothing_sealed_is_given(shop: Shop) -> None:
    with transaction.atomic():
        assert valid() == set()


def test_a_run_that_came_past_the_actions_among_the_sealed_ones_is_read(shop: Shop) -> None:
    shop.run("2026-03-07 06:00", 4, 450, press="P2")
    assert valid() == set(presses())
    assert len(as_sealed()[presses()[1]]) == 6


@pytest.mark.parametrize("broken", [{"runs": b"nonsense"}, {"shape": "of another day"}])
def test_what_is_broken_or_of_other_code_is_left_aside_and_made_anew(
    shop: Shop, broken: dict[str, object]
) -> None:
    SealedRuns.objects.update(**broken)
    assert valid() == set()
    assert {press: len(runs) for press, runs in as_sealed().items()} == dict.fromkeys(presses(), 5)
    sealing.forget()
    assert sealing.seal(at=NOW) == 2
    assert valid() == set(presses())


def test_a_seal_made_while_somebody_wrote_is_not_used(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    first = presses()[0]
    read = sealing.columns_of_runs

    def read_and_write(*given: object) -> object:
        found = read(*given)  # type: ignore[arg-type]
        run = Run.objects.filter(press_id=first).order_by("started_at")[0]
        if run.voided_at is None:
            actions.void(by=None, at=NOW, record=run, reason="typed twice")
        return found

    sealing.forget()
    monkeypatch.setattr(sealing, "columns_of_runs", read_and_write)
    sealing.seal(at=NOW)
    assert first not in valid()
    as_sealed()


def test_a_press_is_sealed_again_once_many_runs_are_open_and_not_again_within_minutes(shop: Shop) -> None:
    assert sealing.seal(at=NOW) == 0
    assert sealing.seal(at=NOW + timedelta(days=10)) == 0
    assert sealing.seal(at=NOW + timedelta(days=40)) == 2
    versions.touch()
    assert sealing.seal(at=NOW + timedelta(days=40, minutes=5)) == 0
    assert sealing.seal(at=NOW + timedelta(days=40, minutes=15)) == 2
