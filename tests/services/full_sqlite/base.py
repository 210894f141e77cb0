from __future__ import annotations

from pathlib import Path
from typing import Any

from django.db.backends.sqlite3 import base

from tests.services.small_disk import FROZEN_FLAG, FULL_FLAG


class DatabaseWrapper(base.DatabaseWrapper):
    def get_new_connection(self, params: dict[str, Any]) -> Any:
        connection = super().get_new_connection(params)
        folder = Path(params["database"]).parent
        if (folder / FROZEN_FLAG).exists():
            connection.execute("PRAGMA query_only = 1")
        if (folder / FULL_FLAG).exists():
            connection.execute("PRAGMA max_page_count = 1")  # taken as: no page more than there are
        return connection
