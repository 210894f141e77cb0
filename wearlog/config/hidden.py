"""Secrets (keys, passwords, addresses that contain one) that work as strings but are displayed as stars.

`docs/decisions/nothing-shows-a-secret.md` says where secrets could be seen, and what this can't prevent.
"""

from __future__ import annotations

import html
import os
from collections.abc import Iterable, Iterator, Mapping
from typing import NoReturn, Self
from urllib.parse import quote, urlsplit

from django.conf import settings

STARS = "********"
VARIABLES = ("SECRET_KEY", "DATABASE_URL", "REDIS_URL", "EMAIL_URL")
"""The variables that can hold a secret. None of them is ever printed."""
SHORTEST = 8
"""Length of the shortest secret that is searched for in a text. A shorter one may appear in it as an ordinary
word, and stars in its place would reveal it."""


class Hidden(str):
    """A string whose `repr` is stars, also inside containers and in `pprint`, and which can't be pickled. It
    can be compared, encoded and passed on like any other; `str()` returns the text itself, as libraries need
    it to connect to a server."""

    shown: str

    def __new__(cls, text: str, shown: str = STARS) -> Self:
        made = super().__new__(cls, text)
        made.shown = shown
        return made

    def __repr__(self) -> str:
        return repr(self.shown)

    def __deepcopy__(self, memo: dict[int, object]) -> Self:
        return self

    def __reduce_ex__(self, protocol: object) -> NoReturn:
        raise TypeError("a secret is not pickled: read it from the settings where it is needed")


def hidden_url(url: str) -> str:
    """The address as `Hidden`, displayed without its user, password and query; unchanged where it has none of
    them."""
    taken = urlsplit(url)
    before, at, place = taken.netloc.rpartition("@")
    if not before and not taken.query:
        return url
    query = f"?{STARS}" if taken.query else ""
    return Hidden(url, shown=f"{taken.scheme}://{STARS if at else ''}{at}{place}{taken.path}{query}")


def hide(values: Mapping[str, object]) -> dict[str, object]:
    """A copy of the values in which those whose name contains password, secret or key are `Hidden`, at any
    depth."""
    found: dict[str, object] = {}
    for name, value in values.items():
        if isinstance(value, Mapping):
            found[name] = hide(value)
        elif value and any(word in name.upper() for word in ("PASS", "SECRET", "KEY", "TOKEN")):
            found[name] = Hidden(str(value))
        else:
            found[name] = value
    return found


def without_secrets(text: str) -> str:
    """The text with stars in place of every secret of this installation, plain or as escaped in URLs, HTML
    and Python literals."""
    for secret in sorted(set(escaped_forms(all_secrets())), key=len, reverse=True):
        text = text.replace(secret, STARS)
    return text


def all_secrets() -> Iterator[str]:
    yield from secrets_in([getattr(settings, name) for name in dir(settings) if name.isupper()])
    for name in VARIABLES:
        value = os.environ.get(name, "").strip()
        if name == "SECRET_KEY":
            yield value
            continue
        before, at, _ = value.partition("://")[2].rpartition("@")
        if at:
            yield from (value, before, before.partition(":")[2])


def secrets_in(value: object) -> Iterator[str]:
    if isinstance(value, Hidden):
        yield str(value)
    elif isinstance(value, Mapping):
        for one in value.values():
            yield from secrets_in(one)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from secrets_in(one)


def escaped_forms(secrets: Iterable[str]) -> Iterator[str]:
    for secret in secrets:
        if len(secret) >= SHORTEST:
            yield from (secret, html.escape(secret), repr(secret)[1:-1], html.escape(repr(secret)[1:-1]))
            yield from (quote(secret), quote(secret, safe=""))
