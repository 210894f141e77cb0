"""Fixtures that every test may use. Servers and browsers have theirs beside the tests that need them."""

from __future__ import annotations

import gc
import os
import sqlite3
import sys
from collections.abc import Generator, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from django.conf import settings as site
from django.db import connection, connections
from django.test import SimpleTestCase, TransactionTestCase
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

from tests import migrated
from tests.examples import FULL
from tests.requirements import ON_POSTGRESQL, REQUIREMENTS, all_required, gettext_program, pdf_library
from wearlog.config.stack import with_room
from wearlog.history import cache
from wearlog.people.models import Mill, Role, User

# Where Python is told to write no bytecode, each of the several hundred programs that the tests start would
# compile the whole site for itself, and each worker every test.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# No test fails on a clock. Where everything is judged, the examples are the same each time, so that a change
# is judged by what it changed. `--hypothesis-profile=full` looks longer, and at others each time.
unhurried = hypothesis_settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
hypothesis_settings.register_profile("house", unhurried, derandomize=all_required())
hypothesis_settings.register_profile(FULL, unhurried, max_examples=1000)
hypothesis_settings.load_profile("house")


@pytest.fixture(autouse=True)
def nothing_is_kept_from_another_test() -> None:
    """What the process keeps of one test's mill would be wrong of the next one's."""
    cache.clear_all()


@pytest.fixture
def mill(db: None) -> Mill:
    return Mill.objects.create(name="Test mill", time_zone="Europe/Vienna", currency="EUR", units="metric")


@pytest.fixture
def owner(mill: Mill) -> User:
    return User.objects.create_user("owner", name="Olga", email="owner@mill.example", role=Role.OWNER)


@pytest.fixture
def operator(mill: Mill) -> User:
    return User.objects.create_user(
        "operator", name="Oskar", email="operator@mill.example", role=Role.OPERATOR
    )


@pytest.fixture
def shared(tmp_path: Path, transactional_db: None) -> Iterator[None]:
    """A database that threads share. SQLite's test database lives in the memory of one connection, so it is
    copied to a file for the test, with the settings that the site runs with."""
    if connection.vendor != "sqlite":
        yield
        return
    settings, name = connection.settings_dict, connection.settings_dict["NAME"]
    connection.ensure_connection()
    path = tmp_path / "shared.sqlite3"
    with closing(sqlite3.connect(path)) as copy:
        copy.execute("PRAGMA synchronous=OFF")  # for the copying alone, which no power cut has to survive
        connection.connection.backup(copy)
        copy.execute("PRAGMA journal_mode=WAL")  # many that begin at once would fail at turning it on
    kept = connections["default"]
    settings["NAME"] = str(path)
    connections["default"] = connections.create_connection("default")
    try:
        yield
    finally:
        connections["default"].close()
        settings["NAME"] = name
        connections["default"] = kept


@pytest.fixture(scope="session")
def pdf() -> object:
    """What draws PDFs. `tests.requirements` leaves these tests out where the machine lacks it."""
    return pdf_library()


@pytest.fixture(scope="session")
def xgettext() -> str:
    """What gathers texts. `tests.requirements` leaves these tests out where the machine lacks it."""
    program = gettext_program()
    assert program
    return program


def pytest_configure(config: pytest.Config) -> None:
    migrated.begin_session(config)
    # The real hash takes a tenth of a second on purpose (`tests/people/test_people.py`); tests make hundreds.
    site.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    from tests import emptying  # here, as models can't be imported before the site is set up

    TransactionTestCase._fixture_teardown = emptying.after_a_test


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_protocol(item: pytest.Item, nextitem: pytest.Item | None) -> object:
    """Each test as pytest runs it, but as a page is answered: with room on the stack (a fifth cheaper)."""
    runner = item.config.pluginmanager.get_plugin("runner")
    return with_room(runner.pytest_runtest_protocol, item, nextitem)


def pytest_collection_finish() -> None:
    """What thousands of collected tests hold lasts until the end: no search for garbage goes through it."""
    gc.collect()
    gc.freeze()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out the tests whose server or browser is not here; `test_what_is_here` says so by name."""
    left_out: list[pytest.Item] = []
    if not all_required():
        asked = {name for item in items for name in getattr(item, "fixturenames", ())}
        # Only what these tests ask for is looked for: to find what draws PDFs takes most of a second.
        wanted = [requirement for requirement in REQUIREMENTS if requirement.fixtures & asked]
        absent = frozenset().union(*[each.fixtures for each in wanted if not each.find()])
        left_out = [item for item in items if absent & set(getattr(item, "fixturenames", ()))]
    if ON_POSTGRESQL in os.environ:
        left_out += [item for item in items if not uses_database(item)]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in left_out]


def uses_database(item: pytest.Item) -> bool:
    fixtures = {"db", "transactional_db"} & set(getattr(item, "fixturenames", ()))
    a_case = isinstance(item, pytest.Function) and item.cls and issubclass(item.cls, SimpleTestCase)
    return bool(fixtures or a_case or item.get_closest_marker("django_db"))


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings_parallel_suffix: None) -> Iterator[None]:
    """On PostgreSQL the tests use the very database that the settings name, if it was made for them. A
    worker's on SQLite lies in memory, and begins as a copy of the session's instead of migrating anew."""
    if made_for_these_tests():
        connection.settings_dict["TEST"]["NAME"] = connection.settings_dict["NAME"]
    if connection.vendor != "sqlite" or "PYTEST_XDIST_WORKER" not in os.environ:
        yield
        return
    name = connection.creation._get_test_db_name()
    with (
        closing(sqlite3.connect(name, uri=True)) as in_memory,  # which lasts as long as somebody is connected
        closing(sqlite3.connect(migrated.template(Path(os.environ[migrated.FOLDER])))) as copied,
    ):
        copied.backup(in_memory)
        yield


@pytest.fixture(scope="session")
def django_db_keepdb(django_db_keepdb: bool) -> bool:
    """Whoever made it has migrated it, and removes it."""
    return django_db_keepdb or made_for_these_tests()


def made_for_these_tests() -> bool:
    return os.environ.get(ON_POSTGRESQL) == connection.settings_dict["NAME"]


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Where everything is required, a skip is a failure."""
    report = yield
    if report.skipped and all_required():
        report.outcome = "failed"
        report.longrepr = f"skipped although everything is required: {report.longrepr}"
    return report
