"""What gauges taught is learned by one process and read by all, and never instead of what the log says."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from tests.mills.forecast_shop import Shop
from wearlog.equipment.models import Part
from wearlog.forecasts import edges, lessons
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory import queries, refresh
from wearlog.forecasts.models import LearnedWear
from wearlog.history import cache, versions

NOW = datetime(2026, 5, 1, 12, tzinfo=UTC)
DAY = date(2026, 5, 1)


@pytest.fixture
def shop(transactional_db: None) -> Shop:
    """A press with a gauged die, worn by two runs; stored as a worker stores it."""
    shop = Shop()
    shop.press("P1")
    die = shop.part("D1", shop.type("D5", "die", new_mm=5, limit_mm=5.4, edges=2, expected_life_kg=40_000))
    shop.fit(die, "2026-03-01 06:00", edge="A", position="die")
    shop.rule("die at limit", "flip", kind="die", at_limit=True)
    shop.run("2026-03-02 06:00", 40, 4_000)
    shop.gauge("2026-03-05 06:00", die, 5.06, edge="A")
    shop.run("2026-03-06 06:00", 40, 4_000)
    shop.gauge("2026-03-09 06:00", die, 5.11, edge="A")
    versions.touch()
    refresh.learn(at=NOW)
    return shop


def gauge(shop: Shop, at: str, value: float) -> None:
    shop.gauge(at, Part.objects.get(code="D1"), value, edge="A")


def items() -> list[DueItem]:
    cache.clear_all()
    return queries.due_items(as_of=DAY)


@pytest.fixture
def _nobody_learns(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_records: object) -> object:
        raise AssertionError("it is stored")

    monkeypatch.setattr(edges, "learn", refuse)


@pytest.mark.usefixtures("_nobody_learns")
def test_a_process_that_has_just_started_reads_what_another_has_learned(shop: Shop) -> None:
    assert items()


def test_what_is_read_gives_to_the_last_bit_what_learning_gives(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    read = items()
    assert read[0].wear is not None
    monkeypatch.setattr(lessons, "find", lambda _fingerprint: None)
    assert items() == read


def test_after_another_gauge_it_is_learned_anew(shop: Shop) -> None:
    before = items()
    gauge(shop, "2026-03-10 06:00", 5.3)
    versions.touch()
    assert items() != before
    refresh.learn(at=NOW)
    assert LearnedWear.objects.count() == 2


@pytest.mark.parametrize("broken", [{"learned": b"nonsense"}, {"shape": "of another day"}])
def test_what_is_broken_or_of_other_code_is_learned_anew(shop: Shop, broken: dict[str, object]) -> None:
    before = items()
    LearnedWear.objects.update(**broken)
    assert items() == before
    if "shape" in broken:
        refresh.learn(at=NOW)
        assert LearnedWear.objects.get().shape == lessons.shape()


def test_only_the_latest_lessons_stay_stored(shop: Shop) -> None:
    for number in range(6):
        gauge(shop, f"2026-03-1{number} 06:00", 5.2)
        versions.touch()
        refresh.learn(at=NOW)
    assert LearnedWear.objects.count() == lessons.MOST


def test_a_worker_that_works_everything_out_anew_forgets_them_first(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    learned = []
    learn = edges.learn
    monkeypatch.setattr(edges, "learn", lambda records: learned.append(1) or learn(records))
    refresh.refresh(at=NOW, anew=True)
    assert learned
    assert LearnedWear.objects.count() == 1
