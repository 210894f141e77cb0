"""The real PostgreSQL of `tests/services`; the offline soak starts a Chromium of its own."""

import pytest

from tests.requirements import browser_program
from tests.services.postgres import postgres_server, postgres_template, postgres_url

__all__ = ["postgres_server", "postgres_template", "postgres_url"]


@pytest.fixture(scope="session")
def chromium() -> str:
    """Where it is: the program that is tried starts it in a process of its own."""
    program = browser_program()
    assert program
    return program
