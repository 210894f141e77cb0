"""The sums that comparisons keep with runs: never out of date, and made anew for one press at a time."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import timedelta

import pytest

from tests.examples import bounded
from tests.mills.logbook_mill import SmallMill, a_small_mill, vienna_mill
from tests.mills.random_entries import NOW, add_rules, entries
from tests.mills.short_runs import log_short_run
from wearlog.compare import runtable
from wearlog.compare.queries import Comparison, compare, season_lines
from wearlog.equipment.models import Press
from wearlog.history import cache, versions
from wearlog.history.rows import PressRow
from wearlog.people.models import Mill
from wearlog.people.refusals import AlreadyMoved, Doubtful, Refused
from wearlog.runs.models import Run

SEASONS = ("07-01", "03-05", "12-01")


@pytest.fixture
def mill(transactional_db: None) -> SmallMill:
    vienna_mill()
    mill = a_small_mill(None)
    add_rules(mill)
    versions.touch()
    return mill


def said() -> list[object]:
    """Three beginnings of a season, of which two are kept at a time."""
    found: list[object] = [compare(season_start=start, over=True) for start in SEASONS]
    found.append(compare(by=("season",), crops=["flax"]))
    presses = list(Press.objects.values_list("pk", flat=True))
    return [*found, season_lines(presses, season="2025/26")]


@pytest.mark.parametrize("seed", range(bounded(4, 2)))
def test_after_any_entry_kept_sums_say_what_sums_made_anew_say(mill: SmallMill, seed: int) -> None:
    chance = random.Random(seed)
    taken = 0
    for _turn in range(24):
        before = versions.current()
        with suppress(Refused, Doubtful, AlreadyMoved):
            chance.choice(entries(mill, chance))()
        if versions.current() == before:
            continue
        taken += 1
        kept = said()
        cache.clear_all()
        assert kept == said()
    assert taken >= 10


def test_a_run_that_came_past_the_door_is_counted_at_once(mill: SmallMill) -> None:
    mill.run("2026-03-05 06:00", "2026-03-05 14:00", 400)
    before = compare().total.runs
    run = Run.objects.order_by("pk").last()
    assert run is not None
    run.pk, run.ref, run.started_at, run.ended_at, run.ends_at = (
        None,
        "past the door",
        *(NOW - timedelta(hours=hours) for hours in (2, 1, 1)),
    )
    run.save()
    assert compare().total.runs == before + 1


def test_another_zone_puts_runs_into_other_seasons(mill: SmallMill) -> None:
    mill.run("2026-03-04 22:00", "2026-03-04 22:20", 17)

    def seasons() -> list[str]:
        return [line.season for line in compare(by=("season",), season_start="03-05").lines]

    assert seasons() == ["2025/26"]
    Mill.objects.update(time_zone="Asia/Tokyo")
    versions.touch()
    assert seasons() == ["2026/27"]


def test_after_a_run_only_its_press_is_summed_anew(mill: SmallMill, monkeypatch: pytest.MonkeyPatch) -> None:
    mill.run("2026-03-05 06:00", "2026-03-05 14:00", 400)
    mill.run("2026-03-05 06:00", "2026-03-05 14:00", 400, press_id=mill.other.pk)
    first = compare()
    read: list[list[str]] = []
    joined: Callable[..., runtable.RunTable] = runtable.joined

    def noted(setup: object, presses: Sequence[PressRow], runs: object) -> runtable.RunTable:
        read.append([press.code for press in presses])
        return joined(setup, presses, runs)

    monkeypatch.setattr(runtable, "joined", noted)
    log_short_run(
        press_id=mill.other.pk, crop_id=mill.flax.pk, begun=NOW - timedelta(hours=3), at=NOW, seed_kg="5"
    )
    then: Comparison = compare()
    assert read == [[mill.other.code]]
    assert then.total.seed_kg == first.total.seed_kg + 5
