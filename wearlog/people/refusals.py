"""The exceptions by which an entry is refused. Each text says what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal


class Refused(Exception):
    """The entry can't be accepted as it is. `field` names the input that the message belongs to, or is
    empty."""

    def __init__(self, message: str, *, field: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.field = field


class AlreadyMoved(Refused):
    """Somebody else has moved the part in the meantime."""


class NotAllowed(Refused):
    """The person's role lacks the permission."""


@dataclass(frozen=True)
class Doubt:
    """A question about something that looks wrong but may be right; once confirmed, the entry is accepted.

    again: saving the same numbers once more confirms it, and what a phone sends later is not asked about.
    typed, instead: the number in question and what may have been meant by it, in the unit of the record."""

    code: str
    question: str
    field: str = ""
    again: bool = False
    typed: Decimal | None = None
    instead: tuple[Decimal, ...] = ()


class Doubtful(Exception):
    """Raised instead of saving while doubts are unconfirmed. Send their codes back as confirmation."""

    def __init__(self, doubts: Sequence[Doubt]) -> None:
        super().__init__("; ".join(doubt.question for doubt in doubts))
        self.doubts = tuple(doubts)
