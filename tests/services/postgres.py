"""A real PostgreSQL, one for the whole session, and databases on it."""

from __future__ import annotations

from collections.abc import Iterator

import psycopg
import pytest

from tests import migrated
from tests.services import servers


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """URL of a running server without a database name, as in postgres://wearlog@127.0.0.1:5432."""
    programs = servers.postgres_programs()
    assert programs, "tests that need PostgreSQL are left out where there is none"
    with servers.postgres_server(programs) as url:
        yield url


@pytest.fixture(scope="session")
def postgres_template(postgres_server: str, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Name of a database on it that holds every migration and nothing else, for others to be copied from."""
    name = "migrated"
    with psycopg.connect(f"{postgres_server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    migrated.apply_migrations(f"{postgres_server}/{name}", tmp_path_factory.mktemp(name))
    return name


@pytest.fixture
def postgres_url(
    postgres_server: str, postgres_template: str, request: pytest.FixtureRequest
) -> Iterator[str]:
    """URL of a migrated, empty database of its own, dropped after the test."""
    name = f"t{abs(hash(request.node.nodeid))}"
    with psycopg.connect(f"{postgres_server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} TEMPLATE {postgres_template}")
    yield f"{postgres_server}/{name}"
    with psycopg.connect(f"{postgres_server}/postgres", autocommit=True) as connection:
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
