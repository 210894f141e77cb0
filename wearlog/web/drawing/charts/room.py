"""Where the words of a chart stand, so that none covers another, measured by the widest usual fonts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

CHARACTER, LINE_HEIGHT, FONT = 9.2, 16, 15
"""The room that a letter, and a line of words, may take in units of a chart, and the size of the letters."""

Box = tuple[float, float, float, float]
"""Left, top, right and bottom, in units of the plot."""
Word = tuple[str, str, float, float]
"""The name of the group that it is drawn in, the word, and its middle."""


@dataclass
class Room:
    """What is taken already. Words keep between `left` and `right`."""

    left: float
    right: float
    taken: list[Box] = field(default_factory=list)

    def is_free(self, box: Box) -> bool:
        return not any(
            box[0] < right and left < box[2] and box[1] < bottom and top < box[3]
            for left, top, right, bottom in self.taken
        )

    def take(self, words: str, x: float, y: float, *, always: bool = False) -> float | None:
        """Take the room of words centred as near to x as the picture lets them, with their middle at y: where
        their middle is then, or None where something is in the way."""
        half = len(words) * CHARACTER / 2
        x = max(self.left + half + 2, min(self.right - half - 2, x))
        box = (x - half - 3, y - LINE_HEIGHT / 2, x + half + 3, y + LINE_HEIGHT / 2)
        if not always and not self.is_free(box):
            return None
        self.taken.append(box)
        return x

    def first_free(
        self, words: Sequence[str], places: Sequence[tuple[float, float]], *, group: str = "words"
    ) -> Iterator[Word]:
        """The first of the wordings, from the fullest to the shortest, at the first of the places that has
        room for it; nothing where none has."""
        for word in words:
            for x, y in places:
                found = self.take(word, x, y)
                if found is not None:
                    yield group, word, found, y
                    return
