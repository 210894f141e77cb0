"""Refuses NUL characters anywhere in a request.

No keyboard types them; PostgreSQL can't store them, SQLite can; and software that ends a string at a NUL
could be used to bypass a check.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Final

from django.http import HttpRequest, HttpResponse, UnreadablePostError
from django.utils.translation import gettext_lazy as _

from wearlog.web.site.faults.kinds import Kind
from wearlog.web.site.faults.pages import answer

NUL: Final = "\0"
ESCAPED: Final = re.compile(rb"(?<!\\)(?:\\\\)*\\u0000")
"""An escaped NUL in JSON, which needs an odd number of backslashes."""

FORMS: Final = ("application/x-www-form-urlencoded", "multipart/form-data")

REFUSED: Final = Kind(
    "nul",
    400,
    heading=_("That can't be taken"),
    happened=_("What was sent holds a NUL, a character that no keyboard types."),
    saved=_("Nothing was saved."),
    do=_("Go back and type it anew, without what was pasted, then send it again."),
)


class NoNulMiddleware:
    """It goes before sessions and authentication, which query the database with values from the request."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if any(NUL in text for text in brought(request)) or json_holds_one(request):
            return answer(request, REFUSED)
        return self.get_response(request)


def brought(request: HttpRequest) -> Iterator[str]:
    """Every string in the request, decoded as for a view. Contents of uploaded files are not included."""
    yield request.path_info
    for name, value in request.META.items():
        if name.startswith(("HTTP_", "CONTENT_", "REMOTE_")) and isinstance(value, str):
            yield value
    for name, value in request.COOKIES.items():
        yield name
        yield value
    for name, values in request.GET.lists():
        yield name
        yield from values
    if request.content_type in FORMS and request.method != "GET":
        try:
            fields, files = request.POST, request.FILES
        except UnreadablePostError:
            return  # incomplete request; the next reader handles that
        for name, values in fields.lists():
            yield name
            yield from (value for value in values if isinstance(value, str))
        for name, uploads in files.lists():
            yield name
            yield from (str(upload.name) for upload in uploads)


def json_holds_one(request: HttpRequest) -> bool:
    """Whether a JSON body contains a NUL, escaped as `\\u0000`."""
    kind = request.content_type or ""
    if kind != "application/json" and not kind.endswith("+json"):
        return False
    try:
        body = request.body
    except UnreadablePostError:
        return False
    return b"\0" in body or ESCAPED.search(body) is not None
