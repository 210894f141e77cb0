"""The real PostgreSQL of `tests/services`, the real Chromium of `tests/browser`."""

from tests.browser.conftest import browser
from tests.services.conftest import postgres_server, postgres_url

__all__ = ["browser", "postgres_server", "postgres_url"]
