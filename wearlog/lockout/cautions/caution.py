"""The caution that belongs to a task. A task can't be shown without one."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property

SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""The characters of a version's mark, without I, L, O and U, which are misread on oily paper."""

MARK_LENGTH = 5


@dataclass(frozen=True)
class Caution:
    """The warning that must accompany a task wherever it is shown.

    `signal_word` is CAUTION, WARNING or, where the owner set it, DANGER (ANSI Z535.4's sense); `text`
    consists of whole sentences; `isolation_points` are the press's recorded points, one string each, empty
    where none is recorded (`text` then says so and asks to have them recorded). `texts` is the number of the
    mill's latest change of wording that is included, 0 where all is as shipped. `in_short` names the hazards
    of `text`, one string each, for the head of a collapsible panel; empty where only the full sentences are
    known.
    """

    signal_word: str
    text: str
    isolation_points: tuple[str, ...]
    texts: int = 0
    in_short: tuple[str, ...] = ()

    @cached_property
    def version(self) -> str:
        """`3-7KQ2M`: the number of the wording, and a checksum of the text and the isolation points.

        Two outputs with the same version have the same content; the number finds the wording in the mill's
        list.
        """
        said = "\n".join((self.signal_word, self.text, *self.isolation_points))
        number = int.from_bytes(hashlib.sha256(said.encode()).digest()[:8])
        mark = "".join(SIGNS[number >> 5 * place & 31] for place in range(MARK_LENGTH))
        return f"{self.texts}-{mark}"


NOT_YET = Caution(signal_word="WARNING", text="", isolation_points=())
"""A placeholder for items that are being computed or stored. It has no text, so it can't be shown."""
