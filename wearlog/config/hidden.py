"""Keys, passwords and addresses that hold one: usable as texts, shown as stars.

`docs/decisions/nothing-shows-a-secret.md` says where secrets could be seen, and what can't be kept from it.
"""

from __future__ import annotations

import html
import os
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Self
from urllib.parse import quote, urlsplit

from django.conf import settings

STARS = "********"
VARIABLES = ("SECRET_KEY", "DATABASE_URL", "REDIS_URL", "EMAIL_URL")
"""The variables that can hold a secret. None of them is ever printed."""
SHORTEST = 8
"""Letters of the shortest secret that is looked for in a text. A shorter one is a word that stands there for
other reasons, too, and stars in its place would tell which word it is."""


class Hidden(str):
    """A text that no representation shows: `repr`, `pprint` and containers of it give stars, and it is not
    pickled. It can be compared, encoded and passed on like any other; `str()` is the text itself, since
    that is what connects to a server."""

    shown: str

    def __new__(cls, text: str, shown: str = STARS) -> Self:
        made = super().__new__(cls, text)
        made.shown = shown
        return made

    def __repr__(self) -> str:
        return repr(self.shown)

    def __deepcopy__(self, memo: dict[int, Any]) -> Self:
        return self

    def __reduce_ex__(self, protocol: Any) -> Any:
        raise TypeError("a secret is not pickled: read it from the settings where it is needed")


def hidden_url(url: str) -> str:
    """The address, shown without what stands before `@` and after `?`; as it is where there is neither."""
    taken = urlsplit(url)
    before, at, place = taken.netloc.rpartition("@")
    if not before and not taken.query:
        return url
    asked = f"?{STARS}" if taken.query else ""
    return Hidden(url, shown=f"{taken.scheme}://{STARS if at else ''}{at}{place}{taken.path}{asked}")


def hide(values: Mapping[str, Any]) -> dict[str, Any]:
    """The same values, with those whose name says password, secret or key hidden, at any depth."""
    found: dict[str, Any] = {}
    for name, value in values.items():
        if isinstance(value, Mapping):
            found[name] = hide(value)
        elif value and any(word in name.upper() for word in ("PASS", "SECRET", "KEY", "TOKEN")):
            found[name] = Hidden(str(value))
        else:
            found[name] = value
    return found


def without_secrets(text: str) -> str:
    """The text with stars for every secret of this installation, as it is and as it is written in
    addresses, in HTML and in Python."""
    for secret in sorted(set(written(known())), key=len, reverse=True):
        text = text.replace(secret, STARS)
    return text


def known() -> Iterator[str]:
    yield from found_in([getattr(settings, name) for name in dir(settings) if name.isupper()])
    for name in VARIABLES:
        value = os.environ.get(name, "").strip()
        if name == "SECRET_KEY":
            yield value
            continue
        before, at, _ = value.partition("://")[2].rpartition("@")
        if at:
            yield from (value, before, before.partition(":")[2])


def found_in(value: Any) -> Iterator[str]:
    if isinstance(value, Hidden):
        yield str(value)
    elif isinstance(value, Mapping):
        for one in value.values():
            yield from found_in(one)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from found_in(one)


def written(secrets: Iterable[str]) -> Iterator[str]:
    for secret in secrets:
        if len(secret) >= SHORTEST:
            yield from (secret, html.escape(secret), repr(secret)[1:-1], html.escape(repr(secret)[1:-1]))
            yield from (quote(secret), quote(secret, safe=""))
