"""Asking the pages of a real process for what they say when something below them has failed."""

from __future__ import annotations

import json
import re
import urllib.error
import urllib.request
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from tests.services.pages import Visitor

LONG = "Öl im Nachtdienst " + "ö" * 3900
"""Takes more than a page of the database's file (4,096 bytes), so that the file must grow for it."""


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    text: str
    json: dict[str, Any] = field(default_factory=dict)


def fetch(visitor: Visitor, path: str, fields: dict[str, str] | None = None, queue: str = "") -> Answer:
    headers = {"X-Wearlog-Queue": queue} if queue else {}
    data = urlencode(fields).encode() if fields else None
    request = urllib.request.Request(visitor.site + path, data, headers)
    try:
        answer = visitor.opener.open(request, timeout=60)
    except urllib.error.HTTPError as error:
        answer = error
    with answer:
        text = answer.read().decode()
        found = {name.lower(): value for name, value in answer.headers.items()}
        told = json.loads(text) if "json" in found.get("content-type", "") else {}
        return Answer(answer.status, found, text, told)


def note(visitor: Visitor) -> dict[str, str]:
    page = visitor.get("/log/note/")
    return dict(re.findall(r'<input type="hidden" name="([\w-]+)" value="([^"]*)"', page)) | {
        "text": LONG, "by_name": "Ines",
    }  # fmt: skip
