"""NUL characters are refused once, for everything that a request brings.

No keyboard types them, PostgreSQL stores none and SQLite does, and a text that ends early somewhere on its
way is how things are smuggled past a check.
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
"""A NUL within JSON: an odd number of backslashes makes it one."""

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
    """Before sessions and sign-in, which ask the database by what the request brings."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if any(NUL in text for text in brought(request)) or json_holds_one(request):
            return answer(request, REFUSED)
        return self.get_response(request)


def brought(request: HttpRequest) -> Iterator[str]:
    """Every text of the request, decoded as a view reads it. What a file holds is not text."""
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
            return  # it was cut off on its way; whoever reads it next sees to that
        for name, values in fields.lists():
            yield name
            yield from (value for value in values if isinstance(value, str))
        for name, uploads in files.lists():
            yield name
            yield from (str(upload.name) for upload in uploads)


def json_holds_one(request: HttpRequest) -> bool:
    """JSON writes it as `\\u0000`."""
    kind = request.content_type or ""
    if kind != "application/json" and not kind.endswith("+json"):
        return False
    try:
        body = request.body
    except UnreadablePostError:
        return False
    return b"\0" in body or ESCAPED.search(body) is not None
