"""What most tests of the pages begin with. A file that needs another mill has a `shop` of its own."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.test import Client

from tests.mills.log_shop import Shop
from wearlog.people.models import Mill, User


@pytest.fixture
def shop(mill: Mill) -> Shop:
    return Shop()


@pytest.fixture
def phone(client: Client, operator: User) -> Client:
    """An operator's, signed in."""
    client.force_login(operator)
    return client


@pytest.fixture
def read(client: Client, operator: User) -> Callable[..., str]:
    """`read(path)`: the page that an operator gets, spaces made single."""
    client.force_login(operator)

    def read(path: str, status: int = 200) -> str:
        answer = client.get(path, follow=True)
        assert answer.status_code == status
        return re.sub(r"\s+", " ", answer.content.decode())

    return read
