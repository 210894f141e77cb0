"""The page on backups, walked in a clean place: its commands in their order, the data lost between."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

from tests import migrated
from tests.config.quickstart_process import SETTINGS, running, stop
from tests.mills.backup_mill import BackupMill
from tests.services.backup_kills import differing
from tests.services.servers import free_port
from wearlog.logbook.backups import folder

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "backup.md"
CHANGES_BY_ITSELF = {"people_signinlink", "reminders_schedulestate"}


def commands() -> list[str]:
    """The indented lines of the page."""
    return [line.strip() for line in PAGE.read_text().splitlines() if re.match(r" {4}\S", line)]


def test_the_commands_of_the_page_bring_a_lost_mill_back(tmp_path: Path) -> None:
    data, stick = tmp_path / "data", tmp_path / "stick"
    mill = BackupMill(data, f"sqlite:///{data / 'wearlog.sqlite3'}")
    surroundings = {n: v for n, v in os.environ.items() if n not in SETTINGS and not n.startswith("PYTEST_")}
    surroundings["DATA_DIR"] = str(data)
    migrated.lay(data / "wearlog.sqlite3")
    with running("--port", str(free_port()), "--data", str(data)) as (process, _):
        assert stop(process)[0] == 0
    before = mill.holds()
    walked: list[str] = []
    for line in commands():
        words = line.replace("/mnt/stick", str(stick)).replace(".venv/bin/python", sys.executable)
        if "manage.py" in words:
            walked.append(words.split()[2])
        if words.startswith("export "):
            name, _, value = words.removeprefix("export ").partition("=")
            surroundings[name] = value
        elif " restore " in words and "--check" not in words:
            shutil.rmtree(data)  # the disk has broken
            done = run(words, surroundings)
            assert "Restored the backup of" in done
            left = [name for name in differing(mill.holds(), before) if name not in CHANGES_BY_ITSELF]
            assert left == ["secret_key"]
        elif words.endswith(" quickstart"):
            with running("--port", str(free_port()), "--data", str(data)) as (process, printed):
                assert "loading the demo" not in printed
                assert stop(process)[0] == 0
        else:
            run(words, surroundings)
    assert walked == [
        "backup", "backup", "backup", "backup", "restore", "restore", "quickstart",
    ]  # fmt: skip
    assert len(folder.made_in(stick / "wearlog")) >= 1
    assert sorted(path.name for path in stick.glob("*.zip")) == ["wearlog-with-keys.zip", "wearlog.zip"]


def run(line: str, surroundings: dict[str, str]) -> str:
    done = subprocess.run(line.split(), cwd=ROOT, env=surroundings, capture_output=True, text=True)
    assert done.returncode == 0, f"{line}\n{done.stderr}"
    return done.stdout
