"""Calls across the end of a piece of Python's stack cost a system call each; with room there are none.

Each of them touches memory that the system has just given, and the system counts these touches ("page
faults"): no clock is needed.
"""

from __future__ import annotations

import resource
from threading import Thread

import pytest
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.test import RequestFactory
from django.utils.module_loading import import_string

from wearlog.config import commandline
from wearlog.config.stack import with_room

CALLS = 300
DEPTHS = range(1, 400)


def nothing() -> None:
    pass


# Larger than a frame of `faults_at`, so that at some depth its frame lies across each end.
nothing.__code__ = nothing.__code__.replace(co_stacksize=100)


def faults_at(depth: int) -> int:
    """Page faults of so many calls of a function, from so many nested calls below this one."""
    if depth:
        return faults_at(depth - 1)
    before = resource.getrusage(resource.RUSAGE_THREAD).ru_minflt
    for _ in range(CALLS):
        nothing()
    return resource.getrusage(resource.RUSAGE_THREAD).ru_minflt - before


def dearest() -> int:
    return max(map(faults_at, DEPTHS))


def in_a_thread_of_its_own() -> tuple[int, int]:
    """Without and with room. The tests themselves have it."""
    found: list[int] = []
    thread = Thread(target=lambda: found.extend([dearest(), with_room(dearest)]))
    thread.start()
    thread.join()
    without, with_it = found
    return without, with_it


def test_calls_are_cheap_at_every_depth_with_room_and_not_without() -> None:
    """Once Python keeps a piece for the next call, the first line fails and the module may go."""
    without, with_it = in_a_thread_of_its_own()
    assert without >= CALLS
    assert with_it < CALLS / 3


def test_every_request_is_answered_with_room() -> None:
    found: list[int] = []

    def answer(request: HttpRequest) -> HttpResponse:
        found.append(dearest())
        return HttpResponse()

    outermost = import_string(settings.MIDDLEWARE[0])(answer)
    thread = Thread(target=outermost, args=[RequestFactory().get("/")])
    thread.start()
    thread.join()
    assert found[0] < CALLS / 3


def test_every_command_is_run_with_room(monkeypatch: pytest.MonkeyPatch) -> None:
    found: list[int] = []
    monkeypatch.setattr("wearlog.logbook.backups.holding.hold_shared", lambda folder: None)
    monkeypatch.setattr(
        "django.core.management.execute_from_command_line", lambda argv: found.append(dearest())
    )
    thread = Thread(target=commandline.run, args=[["manage.py", "check"]])
    thread.start()
    thread.join()
    assert found[0] < CALLS / 3


def test_what_is_called_with_room_returns_and_raises_as_without() -> None:
    assert with_room(int, "11", base=2) == 3
    with pytest.raises(ValueError, match="invalid literal"):
        with_room(int, "eleven")
