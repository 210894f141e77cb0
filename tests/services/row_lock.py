"""Keep the outbox from being written to, from outside: what a sender then wants to write waits."""

from __future__ import annotations

import sqlite3
import time

import psycopg

from tests.services.processes import until


class RowLock:
    """A connection of the test's own, usable from any thread."""

    def __init__(self, database_url: str) -> None:
        self.on_postgresql = database_url.startswith("postgres")
        if self.on_postgresql:
            self.server = psycopg.connect(database_url, autocommit=True)
            self.watcher = psycopg.connect(database_url, autocommit=True)
        else:
            self.file = sqlite3.connect(
                database_url.removeprefix("sqlite:///"),
                timeout=20,
                isolation_level=None,
                check_same_thread=False,
            )
        self.held = False

    def take(self) -> None:
        """PostgreSQL: lock every row; SQLite: be its one writer."""
        if self.on_postgresql:
            self.server.execute("BEGIN")
            self.server.execute("SELECT id FROM reminders_outboxrow FOR UPDATE")
        else:
            self.file.execute("BEGIN IMMEDIATE")
        self.held = True

    def wait_until_in_the_way(self, *, at_least: float = 0.0) -> None:
        """Until somebody waits for it: PostgreSQL tells, SQLite does not and gets `at_least` seconds."""
        if self.on_postgresql:
            assert until(self._waiting, 20), "nobody came to write"
        time.sleep(at_least)

    def _waiting(self) -> bool:
        found = self.watcher.execute(
            "SELECT count(*) FROM pg_stat_activity "
            "WHERE datname = current_database() AND wait_event_type = 'Lock'"
        ).fetchone()
        return bool(found and found[0])

    def forget_the_dead(self) -> None:
        """PostgreSQL goes on for a client that was killed until it answers it; a machine that dies takes
        both along, and so does this."""
        if not self.on_postgresql:
            return
        mine = (self.server.info.backend_pid, self.watcher.info.backend_pid)
        others = "FROM pg_stat_activity WHERE datname = current_database() AND pid <> ALL(%s)"
        self.watcher.execute("SELECT pg_terminate_backend(pid) " + others, [list(mine)])

        def all_gone() -> bool:
            found = self.watcher.execute("SELECT count(*) " + others, [list(mine)]).fetchone()
            return bool(found and found[0] == 0)

        assert until(all_gone, 20), "a connection of a dead process stays"

    def release(self) -> None:
        if self.held:
            (self.server if self.on_postgresql else self.file).execute("ROLLBACK")
            self.held = False

    def close(self) -> None:
        if self.on_postgresql:
            self.server.close()
            self.watcher.close()
        else:
            self.file.close()
