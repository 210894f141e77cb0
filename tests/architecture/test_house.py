"""The rules of the house that a machine can see."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CODE = sorted(path for path in (ROOT / "wearlog").rglob("*.py") if "migrations" not in path.parts)
READS_THE_CLOCK = {"now", "today", "utcnow", "localdate", "localtime", "time"}
CLOCK_OWNERS = {"timezone", "datetime", "date", "time"}
MAY_READ_THE_CLOCK = ("wearlog/web/", "wearlog/api/", "wearlog/config/")


def named(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def test_imports_point_down_only() -> None:
    done = subprocess.run(
        [str(Path(sys.executable).parent / "lint-imports"), "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_top_level_holds_what_was_agreed() -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if tracked.returncode:  # a copy without its history
        top = {path.name for path in ROOT.iterdir()} - {"data", "build", "wearlog.egg-info"}
    else:
        top = {line.split("/")[0] for line in tracked.stdout.splitlines()}
    agreed = {
        "README.md",
        "DEVELOPERS.md",
        "manage.py",
        "pyproject.toml",
        "wearlog",
        "tests",
        "fixtures",
        "docs",
    }
    assert {name for name in top if not name.startswith(".")} == agreed


@pytest.mark.parametrize("name", ["utils", "helpers", "services", "core", "signals"])
def test_no_room_is_a_junk_drawer(name: str) -> None:
    assert [named(path) for path in CODE if path.stem == name or path.parent.name == name] == []


def test_no_file_grows_past_four_hundred_lines() -> None:
    long = {named(path): lines for path in CODE if (lines := len(path.read_text().splitlines())) > 420}
    assert long == {}


def clock_readings(path: Path) -> Iterator[int]:
    for node in ast.walk(ast.parse(path.read_text())):
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and node.func.attr in READS_THE_CLOCK
            and isinstance(node.func.value, ast.Name | ast.Attribute)
            and (node.func.value.id if isinstance(node.func.value, ast.Name) else node.func.value.attr)
            in CLOCK_OWNERS
        ):
            yield node.lineno


def test_only_views_tasks_and_commands_read_the_clock() -> None:
    read = [
        f"{named(path)}:{line}"
        for path in CODE
        if not named(path).startswith(MAY_READ_THE_CLOCK)
        and path.stem != "tasks"
        and "commands" not in path.parts
        for line in clock_readings(path)
    ]
    assert read == []


def test_the_clock_is_found_where_it_is_read(tmp_path: Path) -> None:
    """The rule above must be able to fail."""
    (tmp_path / "late.py").write_text("from django.utils import timezone\nx = timezone.now()\n")
    assert list(clock_readings(tmp_path / "late.py")) == [2]


def test_pages_hold_no_inline_style_or_script() -> None:
    """The content security policy forbids both; so does this, before a browser has to say it."""
    inline = re.compile(r"\sstyle=|<style|<script(?![^>]*\bsrc=)|\son[a-z]+=", re.IGNORECASE)
    found = [
        f"{named(path)}:{number}"
        for path in sorted((ROOT / "wearlog").rglob("templates/**/*.html"))
        if not named(path).startswith("wearlog/reminders/")  # mails, which are no pages
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if inline.search(line)
    ]
    assert found == []
