"""A database that threads share, as the log's own tests have it."""

from tests.logbook.test_concurrency import shared

__all__ = ["shared"]
