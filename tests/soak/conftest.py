"""The real PostgreSQL of `tests/services`."""

from tests.services.conftest import postgres_server, postgres_url

__all__ = ["postgres_server", "postgres_url"]
