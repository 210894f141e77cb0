"""Why an entry is not taken. Each text says what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class Refused(Exception):
    """An entry that can't be taken as it is. `field` names the input it belongs to, or is empty."""

    def __init__(self, message: str, *, field: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.field = field


class AlreadyMoved(Refused):
    """Somebody else has moved the part in the meantime."""


class NotAllowed(Refused):
    """The person's role does not carry the permission."""


@dataclass(frozen=True)
class Doubt:
    """Something that looks wrong and may be right: asked, then taken when confirmed."""

    code: str
    question: str
    field: str = ""


class Doubtful(Exception):
    """Raised instead of saving while doubts are open. Confirm by sending the codes back."""

    def __init__(self, doubts: Sequence[Doubt]) -> None:
        super().__init__("; ".join(doubt.question for doubt in doubts))
        self.doubts = tuple(doubts)
