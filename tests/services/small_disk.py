"""A disk that can be filled to its last byte, for the data of one test.

Where the test may mount (as root) it is a real file system in memory. Elsewhere SQLite itself is told that
its file may not grow (`PRAGMA max_page_count`) or change (`query_only`), and says so as on such a disk.
"""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.services.processes import until

FULL_FLAG, FROZEN_FLAG = "wearlog-tests-full", "wearlog-tests-frozen"


@dataclass
class Disk:
    """`settings` is the module that programs on it must take."""

    folder: Path
    real: bool

    @property
    def settings(self) -> str:
        return "wearlog.config.settings" if self.real else "tests.services.full_settings"

    def fill(self) -> None:
        """Leave no room at all."""
        if not self.real:
            (self.folder / FULL_FLAG).touch()
            return
        with (self.folder / "filler").open("ab", buffering=0) as stream:
            for size in (1_000_000, 4096, 1):
                try:
                    while stream.write(b"\0" * size):
                        pass
                except OSError:
                    continue

    def clear(self) -> None:
        (self.folder / "filler").unlink(missing_ok=True)
        (self.folder / FULL_FLAG).unlink(missing_ok=True)

    def freeze(self) -> None:
        """Let it be read and no longer written."""
        if self.real:
            # It is busy as long as the last request's files are open.
            command = ["mount", "-o", "remount,ro", str(self.folder)]
            assert until(lambda: subprocess.run(command, capture_output=True).returncode == 0, 20)
        else:
            (self.folder / FROZEN_FLAG).touch()

    def thaw(self) -> None:
        if self.real:
            subprocess.run(["mount", "-o", "remount,rw", str(self.folder)], check=True, capture_output=True)
        else:
            (self.folder / FROZEN_FLAG).unlink()


@contextmanager
def small_disk(folder: Path, megabytes: int) -> Iterator[Disk]:
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", str(folder)]
    real = subprocess.run(mount, capture_output=True).returncode == 0
    try:
        yield Disk(folder, real)
    finally:
        if real:
            subprocess.run(["umount", "-l", str(folder)], check=True, capture_output=True)
