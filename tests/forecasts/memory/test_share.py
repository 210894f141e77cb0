"""A worker that takes some presses reads and works out these alone, and says what the whole says."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from tests.mills.forecast_shop import Shop
from wearlog.equipment.models import Part
from wearlog.forecasts import lessons
from wearlog.forecasts.board import Board, items_of
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory import queries, refresh, snapshots
from wearlog.forecasts.memory.share import OwnEdges
from wearlog.forecasts.models import LearnedWear
from wearlog.history import cache, log, versions
from wearlog.history.record import record_as_of
from wearlog.history.runs import runs_and_readings
from wearlog.lockout.cautions.caution import NOT_YET

NOW = datetime(2026, 5, 1, 12, tzinfo=UTC)
DAY = date(2026, 5, 1)
PRESSES = ("P1", "P2", "P3", "P4")


@pytest.fixture
def shop(transactional_db: None) -> Shop:
    """Four presses, each with a gauged die; that of P4 came from P3."""
    shop = Shop()
    kind = shop.type("D5", "die", new_mm=5, limit_mm=5.4, edges=2, expected_life_kg=40_000)
    shop.rule("die at limit", "flip", kind="die", at_limit=True)
    shop.rule("grease", "lubricate", every_h=100)
    for number, code in enumerate(PRESSES):
        shop.press(code)
        die = shop.part(f"D{number}", kind)
        if code == "P4":
            shop.fit(die, "2026-02-01 06:00", edge="A", position="die", press="P3", until="2026-02-20 06:00")
        shop.fit(die, "2026-03-01 06:00", edge="A", position="die", press=code)
        shop.run("2026-02-05 06:00", 40, 3_000 + number, press=code)
        shop.run("2026-03-02 06:00", 40, 4_000 + number, press=code)
        shop.gauge("2026-03-05 06:00", die, 5.05 + number / 100, edge="A")
        shop.run("2026-03-06 06:00", 40, 4_000, press=code)
    versions.touch()
    return shop


def key_of(shop: Shop, code: str) -> int:
    return int(shop.press(code).id)


def gauge(shop: Shop) -> None:
    shop.gauge("2026-03-09 06:00", Part.objects.get(code="D0"), 5.2, edge="A")
    items, tables = frozenset({key_of(shop, "P1")}), frozenset({"measurements"})
    versions.touch(versions.Change(lessons=True, items=items, tables=tables))


@contextmanager
def runs_read(monkeypatch: pytest.MonkeyPatch) -> Iterator[set[int]]:
    """The presses whose runs are read within the block."""
    read: set[int] = set()

    def noting(presses: list[int], *, every: bool) -> object:
        read.update(presses)
        return runs_and_readings(presses, every=every)

    with monkeypatch.context() as patched:
        patched.setattr(log, "runs_and_readings", noting)
        yield read


def of(shop: Shop, code: str) -> tuple[DueItem, ...]:
    """The items of a press in a process that has just started and finds no items stored."""
    cache.clear_all()
    press = key_of(shop, code)
    return queries.items_by_press(as_of=DAY, press_ids=[press])[press]


def test_a_press_is_worked_out_from_its_own_runs_and_those_where_its_parts_worked(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    refresh.learn(at=NOW)
    for code, needed in (("P1", {"P1"}), ("P3", {"P3"}), ("P4", {"P3", "P4"})):
        with runs_read(monkeypatch) as read:
            assert of(shop, code)
        assert read == {key_of(shop, one) for one in needed}


def test_it_says_to_the_last_bit_what_the_whole_says(shop: Shop) -> None:
    refresh.learn(at=NOW)
    cache.clear_all()
    whole = queries.items_by_press(as_of=DAY)
    assert all(items[0].wear for items in whole.values())
    for code in PRESSES:
        assert of(shop, code) == whole[key_of(shop, code)]


def test_its_fingerprints_are_those_of_the_whole(shop: Shop) -> None:
    refresh.learn(at=NOW)
    press = key_of(shop, "P4")
    whole = queries.forecast_of_day(as_of=DAY).fingerprint(press)
    cache.clear_all()
    own = queries.forecast_of_day(as_of=DAY, press_ids=[press])
    assert isinstance(own.edges, OwnEdges)
    assert own.fingerprint(press) == whole


def test_an_edge_of_another_press_is_not_to_be_had_of_it(shop: Shop) -> None:
    refresh.learn(at=NOW)
    cache.clear_all()
    own = queries.forecast_of_day(as_of=DAY, press_ids=[key_of(shop, "P1")]).edges
    assert isinstance(own, OwnEdges)
    other = next(edge for (part, _), edge in own.used.items() if part not in own.parts)
    with pytest.raises(AttributeError):
        own.taken(other)


@pytest.mark.parametrize("why", ["a gauge since", "another day", "nothing stored", "broken"])
def test_where_the_lesson_of_this_state_of_the_log_is_not_stored_it_learns_from_all(
    shop: Shop, why: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    refresh.learn(at=NOW)
    if why == "a gauge since":
        gauge(shop)
    elif why == "another day":
        LearnedWear.objects.update(as_of=date(2026, 4, 30))
    elif why == "nothing stored":
        lessons.forget()
    else:
        LearnedWear.objects.update(learned=b"nonsense")
    with runs_read(monkeypatch) as read:
        own = of(shop, "P1")
    assert len(read) == 4
    cache.clear_all()
    assert own == queries.items_by_press(as_of=DAY)[key_of(shop, "P1")]


def test_a_type_gauged_at_almost_no_seed_is_learned_from_all(shop: Shop) -> None:
    kind = shop.type("D6", "die", new_mm=6, limit_mm=6.4, edges=1)
    die = shop.part("E1", kind)
    shop.fit(die, "2026-03-10 06:00", edge="", position="second die", press="P1")
    shop.run("2026-03-10 07:00", 1, 20, press="P1")
    shop.gauge("2026-03-10 09:00", die, 6.02)
    versions.touch()
    refresh.learn(at=NOW)
    cache.clear_all()
    edges = queries.forecast_of_day(as_of=DAY, press_ids=[key_of(shop, "P2")]).edges
    assert not isinstance(edges, OwnEdges)


def test_what_was_noted_for_an_earlier_state_holds_until_something_is_learned(shop: Shop) -> None:
    refresh.learn(at=NOW)
    before = lessons.standing(as_of=DAY, known=versions.latest())
    assert before
    press = key_of(shop, "P2")
    versions.touch(versions.Change(runs=frozenset({press}), items=frozenset({press})))
    assert lessons.standing(as_of=DAY, known=versions.latest()) == before
    versions.touch(versions.Change(setup=True))
    assert lessons.standing(as_of=DAY, known=versions.latest()) is None
    refresh.learn(at=NOW)
    assert lessons.standing(as_of=DAY, known=versions.latest()) == before


def stored(shop: Shop) -> dict[int, tuple[int, tuple[DueItem, ...]]]:
    keys = [key_of(shop, code) for code in PRESSES]
    return snapshots.stored(press_ids=keys, as_of=DAY, language="en")


def test_after_a_gauge_only_wear_limits_are_worked_out_again_by_a_process_that_has_just_started(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    refresh.refresh(at=NOW)
    before = {press: items for press, (_, items) in stored(shop).items()}
    gauge(shop)
    refresh.learn(at=NOW)
    cache.clear_all()
    asked: list[bool] = []
    whole = Board.items_where

    def noting(board: Board, *, at_limit: bool) -> Iterator[DueItem]:
        asked.append(at_limit)
        return whole(board, at_limit=at_limit)

    monkeypatch.setattr(Board, "items_where", noting)
    refresh.refresh(at=NOW, press_ids=[key_of(shop, "P2")])
    assert asked == [True]
    monkeypatch.undo()
    press = key_of(shop, "P2")
    anew = [item for item in items_of(record_as_of(log.load_log_uncached(), DAY)) if item.press_id == press]
    after = stored(shop)[press][1]
    assert {repr(item) for item in after} == {repr(replace(item, caution=NOT_YET)) for item in anew}
    assert len(after) == 2
    assert after != before[press]
