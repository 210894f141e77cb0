"""The caution that belongs to a task. A task can't be shown without one."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Caution:
    """What must be said with a task, wherever it is shown.

    `signal_word` is WARNING or CAUTION (ANSI Z535.4's sense); `text` is whole sentences;
    `isolation_points` are the press's recorded points, one string each, empty where none is recorded
    (`text` then says so and asks to have them recorded).
    """

    signal_word: str
    text: str
    isolation_points: tuple[str, ...]
