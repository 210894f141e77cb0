"""The soak in small, in pieces that several workers share, and the engine broken on purpose. In full:
docs/reliability.md."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def soak(*words: str) -> str:
    clean = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    done = subprocess.run(
        [sys.executable, "-m", "tests.soak", *words], cwd=ROOT, env=clean, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-3000:]
    return done.stdout


@pytest.mark.parametrize(("seed", "begin"), [(1, "2026-03-01"), (4, "2026-03-11"), (5, "2026-03-21")])
def test_weeks_of_faults_miss_nothing(seed: int, begin: str) -> None:
    """Twelve days of twenty presses each. The clocks change on the 8th in America, on the 29th in Europe."""
    said = soak("--press-days", "240", "--seed", str(seed), "--begin", begin)
    assert "240 press-days" in said
    assert " 0 missed" in said


def test_some_of_them_on_postgresql(postgres_url: str) -> None:
    said = soak("--press-days", "200", "--seed", "2", "--postgresql", postgres_url)
    assert " 0 missed" in said


@pytest.mark.parametrize(
    "how",
    [
        "forgets-what-was-told",
        "lease-without-end",
        "never-tries-again",
        "settles-before-it-sends",
        "sends-at-any-hour",
    ],
)
def test_an_engine_that_is_broken_on_purpose_is_found_out(how: str) -> None:
    said = soak("--press-days", "400", "--seed", "3", "--break", how)
    assert "every break was told" in said
