"""PostgreSQL's own programs: finding them, choosing a version for a server, and passing the connection."""

from __future__ import annotations

import glob
import os
import re
import shutil
import subprocess
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from psycopg.conninfo import make_conninfo

from wearlog.logbook.backups.refusals import BackupRefused

NEEDED = ("pg_dump", "pg_restore", "psql")
USUAL_PLACES = ("/usr/lib/postgresql/*/bin", "/usr/pgsql-*/bin", "/opt/homebrew/opt/postgresql@*/bin")
"""Where Debian, PostgreSQL's own packages and Homebrew install the programs of each version."""

OF_DJANGO = {"isolation_level", "assume_role", "pool", "server_side_binding", "prepare_threshold"}
"""Connection options of Django that PostgreSQL's programs don't know."""


@dataclass(frozen=True)
class Tools:
    """Programs of one version in one folder."""

    folder: Path
    major: int

    def __getitem__(self, name: str) -> str:
        return str(self.folder / name)


def conninfo(database: Mapping[str, object], *, secret: bool) -> str:
    """Django's database settings as a connection string of PostgreSQL. `secret`: include the password;
    without it for command lines, which other users of the machine can read."""
    named = {
        "dbname": database["NAME"],
        "user": database.get("USER"),
        "host": database.get("HOST"),
        "port": database.get("PORT"),
        "password": database.get("PASSWORD") if secret else None,
    }
    options = database.get("OPTIONS")
    if isinstance(options, Mapping):
        named = {key: value for key, value in options.items() if key not in OF_DJANGO} | named
    return make_conninfo(**{key: str(value) for key, value in named.items() if value not in (None, "")})


def environment_of(database: Mapping[str, object]) -> dict[str, str]:
    """The environment of the programs; it carries the password."""
    found = os.environ | {"PGCLIENTENCODING": "UTF8"}
    if database.get("PASSWORD"):
        found["PGPASSWORD"] = str(database["PASSWORD"])
    return found


def matching_tools(server_major: int) -> Tools:
    """The oldest installed programs that are not older than the server: pg_dump refuses newer servers, and an
    older server may not understand the output of a newer pg_dump. Raises BackupRefused where there are
    none."""
    found = sorted(_there(), key=lambda tools: tools.major)
    for tools in found:
        if tools.major >= server_major:
            return tools
    older = f" The newest here is {found[-1].major}." if found else ""
    raise BackupRefused(
        f"pg_dump, pg_restore and psql of PostgreSQL {server_major} or newer are not on this machine.{older} "
        f"Install PostgreSQL's client programs (on Debian the package postgresql-client-{server_major}), or "
        "put their folder on the PATH."
    )


def _there() -> Iterator[Tools]:
    on_path = shutil.which(NEEDED[0])
    places = [*os.environ.get("PATH", "").split(os.pathsep), *(p for g in USUAL_PLACES for p in glob.glob(g))]
    if on_path:
        places.insert(0, str(Path(on_path).parent))
    for place in dict.fromkeys(places):
        folder = Path(place)
        if place and all(shutil.which(name, path=place) for name in NEEDED):
            major = _major(folder / NEEDED[0])
            if major:
                yield Tools(folder, major)


def _major(program: Path) -> int:
    """The major version that a program reports; 0 where it can't be run."""
    try:
        told = subprocess.run(  # noqa: S603  # found under the name of a program of PostgreSQL
            [str(program), "--version"], capture_output=True, text=True, timeout=20
        )
    except (OSError, subprocess.SubprocessError):
        return 0
    number = re.search(r"\(PostgreSQL\)\s+(\d+)", told.stdout)
    return int(number.group(1)) if number and told.returncode == 0 else 0
