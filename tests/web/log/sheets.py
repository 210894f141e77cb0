"""The sheets of many runs, as a browser reads and sends them."""

from __future__ import annotations

import re
from html import unescape

from django.test import Client

from tests.mills.log_shop import Shop

WEEK = "2026-03-02"  # a Monday


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def hidden(html: str) -> dict[str, str]:
    """The fields that a browser sends along without anybody touching them."""
    found = {}
    for tag in re.findall(r"<input[^>]*>", html):
        name = re.search(r'name="([^"]+)"', tag)
        value = re.search(r'value="([^"]*)"', tag)
        if name and 'type="checkbox"' not in tag and name[1] != "csrfmiddlewaretoken":
            found[name[1]] = value[1] if value else ""
    for name, inner in re.findall(r'<select name="([^"]+)"[^>]*>(.*?)</select>', html, re.S):
        chosen = re.search(r'value="([^"]*)" selected', inner) or re.search(r'value="([^"]*)"', inner)
        found[name] = chosen[1] if chosen else ""
    return found


def words(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def week_of(shop: Shop, **query: str) -> str:
    known = {"from": WEEK, **query}
    return f"/presses/{shop.north.pk}/week/?" + "&".join(f"{key}={value}" for key, value in known.items())


def text(answer: object) -> str:
    return unescape(words(answer.content.decode()))  # type: ignore[attr-defined]
