"""Exactly one scheduler beats where several are started, and a dead one is followed."""

from __future__ import annotations

import time
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta

import pytest
from celery import Celery
from django.db import OperationalError

from tests.dates import at
from wearlog.config import beat
from wearlog.config.beat import LEASE, LOCK, OneBeat
from wearlog.reminders.models import ScheduleState
from wearlog.reminders.schedule import state as schedule_state

NOON = at("2026-04-01 12:00")
SECOND = timedelta(seconds=1)


def take(holder: str, when: timedelta) -> bool:
    return schedule_state.take(LOCK, holder=holder, at=NOON + when, lease=LEASE)


def test_the_first_gets_the_lock_keeps_it_and_the_second_waits_for_its_end(db: None) -> None:
    assert take("one", 0 * SECOND)
    assert not take("two", 59 * SECOND)
    assert take("one", 59 * SECOND)
    assert not take("two", 118 * SECOND)
    assert take("two", 119 * SECOND)
    assert not take("one", 120 * SECOND)


def test_a_lock_that_is_given_back_is_free_at_once(db: None) -> None:
    assert take("one", 0 * SECOND)
    schedule_state.give_back(LOCK, holder="two")
    assert not take("two", 1 * SECOND)
    schedule_state.give_back(LOCK, holder="one")
    assert take("two", 1 * SECOND)


def test_a_lease_written_by_a_clock_that_ran_ahead_holds_nobody_up(db: None) -> None:
    assert take("one", timedelta(days=365))
    assert take("two", 0 * SECOND)


@dataclass
class Beats:
    """Schedulers that share one database and take turns; `ran` has the name of each that ran the task."""

    app: Celery
    task: str
    ran: list[str] = field(default_factory=list)
    turn: str = ""
    schedulers: dict[str, OneBeat] = field(default_factory=dict)

    def start(self, *names: str) -> None:
        for name in names:
            self.schedulers[name] = OneBeat(app=self.app, max_interval=5)

    def tick(self) -> None:
        for name, scheduler in self.schedulers.items():
            self.turn = name
            scheduler.tick()
        time.sleep(0.005)

    def until(self, name: str, count: int, seconds: float = 30.0) -> None:
        """Let all of them tick until that one has run the task so often."""
        end = time.monotonic() + seconds
        while self.ran.count(name) < count:
            assert time.monotonic() < end, self.ran
            self.tick()


@pytest.fixture
def beats(db: None, monkeypatch: pytest.MonkeyPatch) -> Iterator[Beats]:
    """A schedule of one task, every twentieth of a second."""
    monkeypatch.setattr(beat, "close_old_connections", lambda: None)  # the test's own is kept
    app = Celery(broker="memory://", set_as_current=False)
    made = Beats(app, f"count {uuid.uuid4()}")

    @app.task(name=made.task)  # type: ignore[untyped-decorator]
    def count() -> None:
        made.ran.append(made.turn)

    app.conf.update(task_always_eager=True, timezone="UTC")
    app.conf.beat_schedule = {"count": {"task": made.task, "schedule": 0.05}}
    yield made
    app.close()


def holder() -> str:
    return ScheduleState.objects.get(name=LOCK).holder


def test_of_many_schedulers_one_beats(beats: Beats) -> None:
    beats.start("one", "two", "three")
    beats.until("one", 8)
    assert set(beats.ran) == {"one"}
    assert holder() == beats.schedulers["one"].holder


def test_another_takes_over_at_once_when_it_stops(beats: Beats) -> None:
    beats.start("one", "two")
    beats.until("one", 3)
    beats.schedulers.pop("one").close()
    assert holder() == ""
    beats.tick()
    assert beats.ran == [*["one"] * 3, "two"]
    beats.until("two", 3)


def test_one_that_stands_by_leaves_the_lock_alone_when_it_stops(beats: Beats) -> None:
    beats.start("one", "two")
    beats.until("one", 2)
    beats.schedulers.pop("two").close()
    assert holder() == beats.schedulers["one"].holder


def test_the_lock_of_a_dead_one_runs_out(beats: Beats, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(beat, "LEASE", timedelta(seconds=1))
    monkeypatch.setattr(beat, "RENEW_S", 0.2)
    beats.start("one", "two")
    beats.until("one", 2)
    dead = beats.schedulers.pop("one")
    assert holder() == dead.holder
    beats.until("two", 1)
    assert holder() == beats.schedulers["two"].holder


def test_one_that_was_thought_dead_stands_by_when_it_wakes(
    beats: Beats, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(beat, "LEASE", timedelta(seconds=1))
    monkeypatch.setattr(beat, "RENEW_S", 0.2)
    beats.start("one", "two")
    beats.until("one", 2)
    asleep = beats.schedulers.pop("one")
    beats.until("two", 1)
    beats.schedulers["one"] = asleep
    beats.until("two", 6)
    assert beats.ran.count("one") == 2
    assert not asleep.beats


def test_without_the_database_nobody_beats_and_nothing_breaks(
    beats: Beats, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(*args: object, **kwargs: object) -> bool:
        raise OperationalError("the database is away")

    beats.start("one")
    with monkeypatch.context() as broken:
        broken.setattr(schedule_state, "take", away)
        assert beats.schedulers["one"].tick() == 5.0
        assert beats.ran == []
    beats.until("one", 2)


def test_a_task_that_fails_does_not_stop_the_schedule(beats: Beats) -> None:
    @beats.app.task(name="break")  # type: ignore[untyped-decorator]
    def break_down() -> None:
        beats.ran.append("broken")
        raise ValueError("this one always fails")

    beats.app.conf.task_eager_propagates = True
    beats.app.conf.beat_schedule = {
        **beats.app.conf.beat_schedule,
        "break": {"task": "break", "schedule": 0.05},
    }
    beats.start("one")
    beats.until("broken", 2)
    beats.until("one", 2)


def test_the_shipped_schedule_runs_behind_the_lock() -> None:
    from wearlog.config import embedded
    from wearlog.config.celery import app

    assert app.conf.beat_scheduler == "wearlog.config.beat:OneBeat"
    assert embedded.Schedule(app).service.scheduler_cls is OneBeat
