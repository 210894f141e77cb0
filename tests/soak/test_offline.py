"""The offline soak in small, and the server broken on purpose. In full: docs/reliability.md."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def soak(*words: str) -> tuple[int, str]:
    clean = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    done = subprocess.run(
        [sys.executable, "-m", "tests.soak.offline", *words],
        cwd=ROOT, env=clean, capture_output=True, text=True,
    )  # fmt: skip
    assert "entries typed" in done.stdout, done.stdout[-3000:] + done.stderr[-3000:]
    return done.returncode, done.stdout


def test_twenty_entries_through_a_failing_network_are_stored_once_each(chromium: str) -> None:
    code, said = soak("--entries", "20", "--seed", "3")
    assert code == 0, said
    for figure in ("entries typed | 20", "lost | 0", "doubled | 0", "overwritten silently | 0", "jammed | 0"):
        assert f"| {figure} |" in said


@pytest.mark.parametrize(
    ("how", "told"), [("forgets-entries", "doubled: "), ("overwrites", "both turned the die from edge")]
)
def test_a_server_that_is_broken_on_purpose_is_found_out(chromium: str, how: str, told: str) -> None:
    # The day's end alone, in which both do what each of these servers gets wrong.
    code, said = soak("--entries", "4", "--seed", "3", "--break", how)
    assert code == 1, said
    assert told in said
