"""Real PostgreSQL and a real Redis-protocol server, one of each for the whole session."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.services import servers
from tests.services.postgres import postgres_server, postgres_template, postgres_url
from tests.services.server_page import nginx_program

__all__ = ["postgres_server", "postgres_template", "postgres_url"]


@pytest.fixture
def redis() -> Iterator[servers.RedisServer]:
    """A server of the test's own, to stop and flush at will."""
    program = servers.redis_program()
    assert program, "tests that need Redis are left out where there is none"
    with servers.redis_server(program) as server:
        yield server


@pytest.fixture
def redis_url(redis: servers.RedisServer) -> str:
    return redis.url


@pytest.fixture(scope="session")
def nginx() -> str:
    """A web server to stand in front. `tests.requirements` leaves these tests out where there is none."""
    program = nginx_program()
    assert program
    return program
