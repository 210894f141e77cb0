"""The caution that belongs to a task. A task can't be shown without one."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property

SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""What a mark is written with: no I, L, O and U, which are misread on oily paper."""

MARK_LENGTH = 5


@dataclass(frozen=True)
class Caution:
    """What must be said with a task, wherever it is shown.

    `signal_word` is CAUTION, WARNING or, where the owner set it, DANGER (ANSI Z535.4's sense); `text` is
    whole sentences; `isolation_points` are the press's recorded points, one string each, empty where none is
    recorded (`text` then says so and asks to have them recorded). `texts` is the number of the mill's latest
    change of wording that went into it, 0 where all is as shipped. `in_short` names the hazards of `text`,
    one string each, for the head of a panel that opens by a touch; empty where only the sentences are known.
    """

    signal_word: str
    text: str
    isolation_points: tuple[str, ...]
    texts: int = 0
    in_short: tuple[str, ...] = ()

    @cached_property
    def version(self) -> str:
        """`3-7KQ2M`: the number of the wording, and a mark that changes with every word and every point.

        Two outputs with one version said the same; the number leads to the wording in the mill's list.
        """
        said = "\n".join((self.signal_word, self.text, *self.isolation_points))
        number = int.from_bytes(hashlib.sha256(said.encode()).digest()[:8])
        mark = "".join(SIGNS[number >> 5 * place & 31] for place in range(MARK_LENGTH))
        return f"{self.texts}-{mark}"


NOT_YET = Caution(signal_word="WARNING", text="", isolation_points=())
"""Stands in an item that is being worked out or stored. Without words, it can't be shown."""
