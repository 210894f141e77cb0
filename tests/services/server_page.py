"""`docs/server.md` as a program: its files are written and its commands run below a folder of the test's own.

What only a whole machine can do (packages, users, systemd) is left out by name in `ONLY_ON_A_MACHINE`;
everything else is run as it stands there, with other folders, ports, database and mail server.
"""

from __future__ import annotations

import configparser
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "server.md"
BLOCK = re.compile(r"^```(\w+)(?: (\S+))?\n(.*?)^```$", re.MULTILINE | re.DOTALL)
ONLY_ON_A_MACHINE = ("apt-get", "useradd", "systemctl", "chown")
MADE_BY_THE_TEST = ("git", "python3", "/srv/wearlog/venv/bin/pip")
"""The program and its virtual environment are the test's own: making them anew would take a minute."""


@dataclass(frozen=True)
class Block:
    """A block of the page: shell commands, or the content of the file at `path`."""

    language: str
    path: str
    text: str


def blocks() -> list[Block]:
    return [Block(*found) for found in BLOCK.findall(PAGE.read_text())]


class Machine:
    """A folder that stands for the machine, and the words of the page that read differently there."""

    def __init__(self, home: Path, *, words: Mapping[str, str], programs: Path, server: str) -> None:
        self.home = home
        self.words = dict(words)
        self.programs = programs
        host = re.fullmatch(r"postgres://(\w+)@([\w.]+):(\d+)", server)
        assert host is not None
        self.postgres = ["--username", host[1], "--host", host[2], "--port", host[3]]
        (home / "srv/wearlog").mkdir(parents=True)
        (home / "srv/wearlog/app").symlink_to(ROOT)
        (home / "srv/wearlog/venv").symlink_to(sys.prefix)
        for folder in ("etc/systemd/system", "etc/nginx/sites-available", "etc/nginx/sites-enabled"):
            (home / folder).mkdir(parents=True)
        (home / "usr/local/bin").mkdir(parents=True)

    def here(self, text: str) -> str:
        """The text with this machine's folders, ports and names."""
        for folder in ("/srv/", "/var/lib/wearlog", "/var/backups/", "/etc/", "/usr/local/bin/"):
            text = re.sub(rf"(?<![\w.]){re.escape(folder)}", f"{self.home}{folder}", text)
        for word, other in self.words.items():
            text = text.replace(word, other)
        return text

    def write(self, block: Block) -> None:
        text = self.here(block.text)
        if block.path == "/usr/local/bin/wearlog":
            # There is one user in a test; a program run as another could not read the test's folders.
            text = text.replace("runuser -u wearlog -- ", "")
        Path(f"{self.home}{block.path}").write_text(text)

    def run(self, command: str) -> str:
        """Run a command of the page, and say what it printed. Fails where it fails."""
        words = shlex.split(self.here(command))
        if words[:4] == ["runuser", "-u", "postgres", "--"]:
            words = [str(self.programs / words[4]), *self.postgres, *words[5:]]
        if words[0] == "install":
            words = [word for word in words if not word.startswith(("--owner", "--group"))]
        inherited = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("PYTEST_", "DJANGO_", "WEARLOG_")) and name != "DATA_DIR"
        }
        inherited["PATH"] = f"{self.home}/usr/local/bin:{inherited['PATH']}"
        done = subprocess.run(words, env=inherited, capture_output=True, text=True, cwd=self.home)
        assert done.returncode == 0, f"{command}\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}"
        return done.stdout

    def service(self, name: str) -> tuple[list[str], dict[str, str], str]:
        """What systemd would start for a unit: command, environment, folder."""
        unit = configparser.ConfigParser(strict=False, interpolation=None)
        unit.optionxform = str  # type: ignore[assignment,method-assign]
        unit.read(self.home / "etc/systemd/system" / f"{name}.service")
        service = unit["Service"]
        settings = dict(
            line.split("=", 1)
            for line in Path(service["EnvironmentFile"]).read_text().splitlines()
            if line and not line.startswith("#")
        )
        environment = {"PATH": os.environ["PATH"], "HOME": str(self.home), **settings}
        return shlex.split(service["ExecStart"]), environment, service["WorkingDirectory"]

    def web_server(self) -> Path:
        """A whole configuration around the page's: where it stands."""
        place = self.home / "nginx.conf"
        folders = "".join(
            f"{name}_temp_path {self.home}/nginx-{name};\n"
            for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        )
        place.write_text(
            f"daemon off;\nerror_log {self.home}/nginx.log;\npid {self.home}/nginx.pid;\nevents {{}}\n"
            f"http {{\naccess_log off;\n{folders}include {self.home}/etc/nginx/sites-enabled/*;\n}}\n"
        )
        return place


def nginx_program() -> str | None:
    """The path of nginx, which stands where only root's PATH leads, or None."""
    return shutil.which("nginx") or shutil.which("nginx", path="/usr/sbin")
