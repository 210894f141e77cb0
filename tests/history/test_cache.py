"""What a process keeps of the log: bounded, right at once after a write, and forgotten as a whole."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from datetime import date

import numpy as np
import pytest
from django.db import transaction

from tests.mills.forecast_shop import Shop
from wearlog.equipment.models import Press
from wearlog.history import cache, runs, versions
from wearlog.history.cache import Cache, RunsCache, VersionCache
from wearlog.history.log import load_log
from wearlog.history.record import record_as_of
from wearlog.history.runs import runs_and_readings


class Counted:
    """A function that says how often it was asked."""

    def __init__(self, work: Callable[[], None] = lambda: None) -> None:
        self.times = 0
        self.work = work

    def __call__(self) -> str:
        self.times += 1
        self.work()
        return f"answer {self.times}"


@pytest.fixture
def name(request: pytest.FixtureRequest) -> Iterator[str]:
    """A name for a cache, free again after the test."""
    yield request.node.name
    cache._caches.pop(request.node.name, None)


def test_a_cache_of_arrays_takes_no_more_memory_than_it_may(name: str) -> None:
    kept: Cache[int, tuple[int, np.ndarray]] = Cache(name, most=1_000, most_mb=1)
    column = np.zeros(20_000)  # 160,000 bytes, counted three times for what will be derived from it
    for number in range(10):
        kept.keep(number, (number, column.copy()))
        assert kept.bytes_kept <= 1_000_000
    assert [number for number in range(10) if kept.find(number) is not None] == [8, 9]
    kept.keep(9, (9, np.zeros(1)))
    assert kept.bytes_kept == 480_024
    kept.keep(10, (10, np.zeros(1_000_000)))
    assert len(kept) == kept.bytes_kept == 0  # what is too large alone is given, and not kept


def test_what_is_kept_about_runs_weighs_at_least_what_its_arrays_take(transactional_db: None) -> None:
    shop = Shop()
    shop.press("P1")
    for day in range(1, 20):
        shop.run(f"2026-03-{day:02d} 06:00", 5, 500)
    versions.touch()
    press = Press.objects.get().pk
    log = runs_and_readings([press], every=True)[press]
    record = record_as_of(load_log(), date(2026, 4, 1))
    assert record.hours[press].own_h.size == 19
    assert log.runs is not None
    arrays = [array for array in vars(log.runs).values() if isinstance(array, np.ndarray)]
    for cut in log.runs._uncut.values():
        arrays += [array for array in vars(cut).values() if isinstance(array, np.ndarray)]
    assert runs._KEPT.bytes_kept >= sum(array.nbytes for array in arrays) > 19 * 8 * 10


@pytest.fixture
def written(transactional_db: None) -> None:
    versions.touch()


def test_a_cache_holds_so_many_and_drops_what_was_asked_for_longest_ago(name: str) -> None:
    answers: Cache[int, str] = Cache(name, most=2)
    answers.keep(1, "one")
    answers.keep(2, "two")
    assert answers.find(1) == "one"
    answers.keep(3, "three")
    assert [answers.find(key) for key in (1, 2, 3)] == ["one", None, "three"]


def test_an_empty_answer_is_an_answer(name: str) -> None:
    answers: Cache[int, tuple[int, ...]] = Cache(name, most=2)
    answers.get(1, lambda: ())
    assert answers.get(1, lambda: (5,)) == ()


def test_two_caches_never_share_a_name(name: str) -> None:
    Cache(name, most=1)
    with pytest.raises(ValueError, match="two caches with the name"):
        Cache(name, most=1)


def test_one_call_forgets_all_caches(name: str, written: None) -> None:
    first: Cache[int, str] = Cache(name, most=1)
    first.keep(1, "one")
    make = Counted()
    second: VersionCache[None, str] = VersionCache(f"{name} 2", most=1)
    second.get(None, make)
    try:
        cache.clear_all()
        assert first.find(1) is None
        assert second.get(None, make) == "answer 2"
    finally:
        del cache._caches[f"{name} 2"]


def test_a_write_makes_what_was_kept_of_the_log_stale_at_once(name: str, written: None) -> None:
    answers: VersionCache[str, str] = VersionCache(name, most=3)
    make = Counted()
    assert [answers.get("day", make), answers.get("day", make)] == ["answer 1", "answer 1"]
    versions.touch(runs_of=())
    assert answers.find("day") is None
    assert answers.get("day", make) == "answer 2"


def test_what_was_made_while_somebody_wrote_is_not_kept(name: str, written: None) -> None:
    answers: VersionCache[None, str] = VersionCache(name, most=1)
    make = Counted(versions.touch)
    assert answers.get(None, make) == "answer 1"
    make.work = lambda: None
    assert [answers.get(None, make), answers.get(None, make)] == ["answer 2", "answer 2"]


def test_nothing_is_kept_or_given_within_a_transaction(name: str, written: None) -> None:
    answers: VersionCache[None, str] = VersionCache(name, most=1)
    make = Counted()
    with transaction.atomic():
        assert [answers.get(None, make), answers.get(None, make)] == ["answer 1", "answer 2"]
    assert answers.get(None, make) == "answer 3"
    with transaction.atomic():
        assert answers.find(None) is None
        assert answers.get(None, make) == "answer 4"


def test_nothing_is_kept_of_a_log_that_was_never_written(name: str, transactional_db: None) -> None:
    answers: VersionCache[None, str] = VersionCache(name, most=1)
    make = Counted()
    assert versions.current() == 0
    assert [answers.get(None, make), answers.get(None, make)] == ["answer 1", "answer 2"]


def test_an_answer_that_is_not_good_enough_is_not_kept(name: str, written: None) -> None:
    answers: VersionCache[None, str] = VersionCache(name, most=1)
    make = Counted()
    for _ in range(3):
        last = answers.get(None, make, keep=lambda answer: answer == "answer 2")
    assert last == "answer 2"


def test_threads_wait_for_the_one_that_makes_a_large_answer(name: str) -> None:
    answers: Cache[int, str] = Cache(name, most=1)
    make = Counted()
    begun, go_on = threading.Event(), threading.Event()

    def slow() -> str:
        begun.set()
        go_on.wait(10)
        return make()

    def ask() -> None:
        with answers.making:
            answers.get(1, slow)

    threads = [threading.Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    begun.wait(10)
    go_on.set()
    for thread in threads:
        thread.join()
    assert make.times == 1


def test_an_entry_at_one_press_leaves_what_is_kept_of_the_others(name: str, transactional_db: None) -> None:
    first, second = (Press.objects.create(code=code).pk for code in ("P1", "P2"))
    versions.touch()
    answers: RunsCache[str] = RunsCache(name)
    asked: list[list[int]] = []

    def make(presses: list[int]) -> dict[int, str]:
        asked.append(presses)
        return {press: f"{press} as of {len(asked)}" for press in presses}

    answers.get([first, second], make)
    versions.touch(runs_of=[second])
    assert answers.get([first, second], make) == {first: f"{first} as of 1", second: f"{second} as of 2"}
    versions.touch(runs_of=())
    answers.get([first, second], make)
    assert asked == [[first, second], [second]]
