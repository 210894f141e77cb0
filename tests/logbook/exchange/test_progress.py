"""How far a long import is, said where it helps and nowhere else."""

from __future__ import annotations

import io

import pytest

from wearlog.logbook.exchange.progress import Told


class Screen(io.StringIO):
    def isatty(self) -> bool:
        return True


class Clock:
    now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


@pytest.mark.parametrize("stream", [io.StringIO(), Screen()])
def test_a_short_import_says_nothing(stream: io.StringIO) -> None:
    clock = Clock()
    told = Told(stream, clock)
    for _ in range(9):
        clock.now_s += 0.1
        told("runs.csv", 1, 2)
    told.done()

    assert stream.getvalue() == ""


def test_a_terminal_gets_one_line_that_is_rewritten_and_wiped() -> None:
    screen, clock = Screen(), Clock()
    told = Told(screen, clock)
    clock.now_s += 1.5
    told("reading runs.csv", 0, 0)
    told("runs.csv", 1, 2)  # too soon after the last
    clock.now_s += 0.5
    told("runs.csv", 10_000, 100_000)
    told.done()

    shown = screen.getvalue()
    assert shown == "\rreading runs.csv\rruns.csv: 10,000 of 100,000 rows" + "\r" + " " * 32 + "\r"
    assert "\n" not in shown


def test_a_shorter_line_covers_the_longer_one_before() -> None:
    screen, clock = Screen(), Clock()
    told = Told(screen, clock)
    clock.now_s += 2
    told("reading measurements.csv", 0, 0)
    clock.now_s += 2
    told("checking", 0, 0)

    assert screen.getvalue().endswith("\rchecking" + " " * 16)


def test_a_file_gets_a_line_every_few_seconds() -> None:
    stream, clock = io.StringIO(), Clock()
    told = Told(stream, clock)
    for done in range(1, 49):
        clock.now_s += 0.25
        told("runs.csv", done, 48)
    told.done()

    lines = stream.getvalue().splitlines()
    assert lines == ["runs.csv: 4 of 48 rows", "runs.csv: 24 of 48 rows", "runs.csv: 44 of 48 rows"]
