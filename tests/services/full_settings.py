"""The shipped settings on an SQLite that is full whenever a file beside it says so."""

from wearlog.config.settings import *  # noqa: F403

DATABASES["default"]["ENGINE"] = "tests.services.full_sqlite"  # noqa: F405
