"""Texts that begin here and are read by people: English, translated above, where the reader is known."""

from __future__ import annotations

from collections.abc import Callable, Mapping


def gettext_noop(text: str) -> str:
    """The text itself. It marks what the catalogues of translations must hold."""
    return text


def as_it_is(text: str) -> str:
    return text


class WordedProblem(ValueError):
    """What can't be taken, in words that say what to do: `msgid` with `params` to fill in.

    `str()` and `message` are English; `worded(gettext)` is the same by another speaker.
    """

    def __init__(self, msgid: str, params: Mapping[str, object] | None = None) -> None:
        self.msgid = msgid
        self.params = dict(params or {})
        self.message = self.worded(as_it_is)
        super().__init__(self.message)

    def worded(self, say: Callable[[str], str]) -> str:
        return say(self.msgid) % self.params if self.params else say(self.msgid)
