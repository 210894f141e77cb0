"""Shows the progress of a long import on a terminal."""

from __future__ import annotations

from collections.abc import Callable
from typing import TextIO

QUIET_S = 1.0
LINE_EVERY_S = 5.0
REWRITE_EVERY_S = 0.1


class ProgressLine:
    """Writes nothing within the first second. After that a terminal gets one line that is rewritten, anything
    else (a file, a pipe) a line every few seconds. `clock` gives seconds and is monotonic."""

    def __init__(self, stream: TextIO, clock: Callable[[], float]) -> None:
        self.stream, self.clock = stream, clock
        self.on_terminal = stream.isatty()
        self.started_s = self.last_s = clock()
        self.width = 0

    def __call__(self, what: str, done: int, total: int) -> None:
        now_s = self.clock()
        every_s = REWRITE_EVERY_S if self.on_terminal else LINE_EVERY_S
        if now_s - self.started_s < QUIET_S or (
            self.last_s > self.started_s and now_s - self.last_s < every_s
        ):
            return
        self.last_s = now_s
        line = f"{what}: {done:,} of {total:,} rows" if total else what
        if self.on_terminal:
            self.stream.write(f"\r{line:<{self.width}}")
            self.width = len(line)
        else:
            self.stream.write(f"{line}\n")
        self.stream.flush()

    def done(self) -> None:
        """Erase the progress line."""
        if self.width:
            self.stream.write(f"\r{'':<{self.width}}\r")
            self.stream.flush()
            self.width = 0
