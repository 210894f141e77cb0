"""Whoever serves other hosts without encryption is warned as the pages start."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
NAMED = {"ALLOWED_HOSTS", "SITE_URL", "HTTPS", "DEBUG", "DATABASE_URL", "REDIS_URL", "SECRET_KEY"}


def started(folder: Path, **more: str) -> str:
    """What the pages say on stderr as a server loads them."""
    kept = {name: value for name, value in os.environ.items() if name not in NAMED}
    place = {"DJANGO_SETTINGS_MODULE": "wearlog.config.settings", "DATA_DIR": str(folder)}
    done = subprocess.run(
        [sys.executable, "-c", "import wearlog.config.wsgi"], cwd=ROOT, env=kept | place | more,
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stderr


@pytest.mark.parametrize(
    ("more", "host"),
    [
        ({"ALLOWED_HOSTS": "192.0.2.7,localhost", "HTTPS": "0"}, "192.0.2.7: "),
        (
            {"ALLOWED_HOSTS": "localhost", "SITE_URL": "http://mill.example:8000", "HTTPS": "0"},
            "mill.example: ",
        ),
    ],
)
def test_hosts_beyond_this_machine_without_https_are_warned_of(
    more: dict[str, str], host: str, tmp_path: Path
) -> None:
    said = started(tmp_path, **more)
    assert f"{host}served without encryption" in said
    assert said.count("served without encryption") == 1


def test_nobody_is_warned_where_only_this_machine_is_served_or_https_is_on(tmp_path: Path) -> None:
    assert "encryption" not in started(tmp_path)
    assert "encryption" not in started(tmp_path, ALLOWED_HOSTS="192.0.2.7")
