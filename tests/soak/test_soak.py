"""The soak at a tenth of its size, and the engine broken on purpose. In full: docs/reliability.md."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def soak(*words: str) -> str:
    clean = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    done = subprocess.run(
        [sys.executable, "-m", "tests.soak", *words], cwd=ROOT, env=clean, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-3000:]
    return done.stdout


def test_a_thousand_press_days_of_faults_miss_nothing() -> None:
    said = soak("--press-days", "1000", "--seed", "1")
    assert "1000 press-days" in said
    assert " 0 missed" in said


def test_some_of_them_on_postgresql(postgres_url: str) -> None:
    said = soak("--press-days", "200", "--seed", "2", "--postgresql")
    assert " 0 missed" in said


def test_an_engine_that_is_broken_on_purpose_is_found_out() -> None:
    said = soak(
        "--press-days",
        "400",
        "--seed",
        "3",
        "--break",
        "forgets-what-was-told",
        "lease-without-end",
        "never-tries-again",
        "settles-before-it-sends",
        "sends-at-any-hour",
    )
    assert "every break was told" in said
