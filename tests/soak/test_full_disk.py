"""In small: entries while the disk fills up and is cleared. In full: `python -m tests.soak.full_disk`."""

from __future__ import annotations

from pathlib import Path

from tests.soak.full_disk import walk


def test_what_was_refused_on_a_full_disk_is_stored_once_when_there_is_room_again(tmp_path: Path) -> None:
    figures = walk(rounds=1, entries=4, seed=1, home=tmp_path)
    answers = figures["answers"]
    assert isinstance(answers, dict)
    assert answers["200 saved"] == 4
    assert answers["507 busy"] >= 1
    assert set(answers) == {"200 saved", "507 busy", "page to read: 200"}
    assert (figures["lost"], figures["doubled"], figures["integrity_check"]) == (0, 0, "ok")
    assert figures["tracebacks in the log"] == 0
