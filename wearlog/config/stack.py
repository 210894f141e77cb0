"""Room on Python's own stack, which makes every page and command cheaper.

Until at least version 3.13, Python keeps the frames of running functions in pieces of 16 kB. Where a loop's
calls lie across the end of a piece, each call asks the system for the next one, and gives it back: that takes
some ten times as long as the call. A page is rendered in hundreds of nested calls, and so passes several of
these ends. `with_room` calls a function from a frame so large that Python takes one great piece for it, in
which everything that is called from there finds room. Only what is used of the piece takes memory.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar

from django.http import HttpRequest, HttpResponse

P = ParamSpec("P")
T = TypeVar("T")

SLOTS = 2**16
"""Of eight bytes each. Python doubles its piece until it holds these and a thousand more: as much is left for
what is called, which is enough for a thousand frames of 60 slots, deeper than Python lets calls nest."""


def with_room(call: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
    """What the call returns, or raises."""
    return call(*args, **kwargs)


with_room.__code__ = with_room.__code__.replace(co_stacksize=SLOTS)


class RoomMiddleware:
    """The very first: everything else that answers a request is called from a frame with room."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return with_room(self.get_response, request)
