"""Texts for people that are defined on this floor: in English here, translated by the floors above."""

from __future__ import annotations

from collections.abc import Callable, Mapping


def gettext_noop(text: str) -> str:
    """Return the text unchanged. It marks the text for extraction into the translation catalogues."""
    return text


def untranslated(text: str) -> str:
    return text


class WordedProblem(ValueError):
    """An input that can't be accepted, in words that say what to do: `msgid`, with `params` to fill in.

    `str()` and `message` are in English; `worded(gettext)` gives the text in the language of `gettext`.
    """

    def __init__(self, msgid: str, params: Mapping[str, object] | None = None) -> None:
        self.msgid = msgid
        self.params = dict(params or {})
        self.message = self.worded(untranslated)
        super().__init__(self.message)

    def worded(self, say: Callable[[str], str]) -> str:
        return say(self.msgid) % self.params if self.params else say(self.msgid)
