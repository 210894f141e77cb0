"""How far a long import is, said where it helps and nowhere else."""

from __future__ import annotations

import io

import pytest

from wearlog.logbook.exchange.progress import ProgressLine


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
    progress = ProgressLine(stream, clock)
    for _ in range(9):
        clock.now_s += 0.1
        progress("runs.csv", 1, 2)
    progress.done()

    assert stream.getvalue() == ""


def test_a_terminal_gets_one_line_that_is_rewritten_and_wiped() -> None:
    screen, clock = Screen(), Clock()
    progress = ProgressLine(screen, clock)
    clock.now_s += 1.5
    progress("reading runs.csv", 0, 0)
    progress("runs.csv", 1, 2)  # too soon after the last
    clock.now_s += 0.5
    progress("runs.csv", 10_000, 100_000)
    progress.done()

    shown = screen.getvalue()
    assert shown == "\rreading runs.csv\rruns.csv: 10,000 of 100,000 rows" + "\r" + " " * 32 + "\r"
    assert "\n" not in shown


def test_a_shorter_line_covers_the_longer_one_before() -> None:
    screen, clock = Screen(), Clock()
    progress = ProgressLine(screen, clock)
    clock.now_s += 2
    progress("reading measurements.csv", 0, 0)
    clock.now_s += 2
    progress("checking", 0, 0)

    assert screen.getvalue().endswith("\rchecking" + " " * 16)


def test_a_file_gets_a_line_every_few_seconds() -> None:
    stream, clock = io.StringIO(), Clock()
    progress = ProgressLine(stream, clock)
    for done in range(1, 49):
        clock.now_s += 0.25
        progress("runs.csv", done, 48)
    progress.done()

    lines = stream.getvalue().splitlines()
    assert lines == ["runs.csv: 4 of 48 rows", "runs.csv: 24 of 48 rows", "runs.csv: 44 of 48 rows"]
