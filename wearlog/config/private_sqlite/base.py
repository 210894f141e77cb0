"""Django's SQLite backend, creating files that only the user of this program may read.

SQLite creates a database with the permissions of the umask, and gives the files beside it (`-wal`, `-shm`)
those of the database. So the empty file is created before SQLite opens it.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from django.db.backends.sqlite3 import base

from wearlog.config import private_files

IN_MEMORY = ("file:", ":memory:")


class DatabaseWrapper(base.DatabaseWrapper):
    def get_new_connection(self, conn_params: dict[str, object]) -> object:
        name = str(conn_params["database"])
        if not name.startswith(IN_MEMORY) and not Path(name).exists():
            with suppress(OSError):  # SQLite reports the error itself
                private_files.make_file(Path(name))
        return super().get_new_connection(conn_params)
