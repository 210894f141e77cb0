"""Fixtures that every test may use. Servers and browsers have theirs beside the tests that need them."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from wearlog.people.models import Mill, Role, User


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


def at(text: str) -> datetime:
    """`at("2026-03-01 06:30")` is that instant in UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)
