"""Short codes for presses, places and parts: made to be stamped on steel, read by eye and typed with gloves.

`T4FX` is a letter for the kind of record, its primary key in base 23, and a check character. The 23
characters leave out what a punch, dirt or a hurried hand confuses: 0 O Q, 1 I L, 5 S, 8 B, 2's neighbour Z,
and U V. 23 is a prime and each place has its own weight, so that every single wrong character and every
exchange of two characters is detected (a property of weighted sums modulo a prime). The code contains no
name, so it survives renaming, and no secret: its page requires signing in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from django.utils.translation import gettext as _

from wearlog.people.refusals import Refused

Kind = Literal["press", "position", "part"]
ALPHABET = "234679ACDEFGHJKMNPRTWXY"
LETTERS: dict[str, Kind] = {"P": "press", "M": "position", "T": "part"}
LETTER_OF = {kind: letter for letter, kind in LETTERS.items()}
FEWEST_DIGITS = 2
LONGEST = 16
"""The longest code in characters; a number of 64 bits needs 14 digits."""
IGNORED = str.maketrans("", "", " -.·_/\t")


@dataclass(frozen=True)
class Code:
    """A code: the kind of record and its primary key in this installation."""

    kind: Kind
    pk: int

    def __str__(self) -> str:
        body = LETTER_OF[self.kind] + _digits(self.pk)
        return body + ALPHABET[-_weighed(body + ALPHABET[0]) % len(ALPHABET)]


class NoCode(Refused):
    """The text is not a valid code. The message says what is wrong with it."""


def read_code(typed: str) -> Code:
    """Parse the code in `typed`, ignoring case, spaces, dashes and dots.

    Raises `NoCode` where a character never occurs, the check character does not fit, or the length is wrong.
    """
    text = typed.upper().translate(IGNORED)
    strange = sorted({letter for letter in text if letter not in ALPHABET})
    if strange:
        raise NoCode(
            _("%(letters)s never occurs in a code. A code has only these characters: %(alphabet)s.")
            % {"letters": ", ".join(strange), "alphabet": " ".join(ALPHABET)},
            field="code",
        )
    if not 2 + FEWEST_DIGITS <= len(text) <= LONGEST:
        raise NoCode(
            _("A code has at least %(number)s characters, as %(example)s has. Read it once more.")
            % {"number": 2 + FEWEST_DIGITS, "example": Code("part", 42)},
            field="code",
        )
    if text[0] not in LETTERS:
        raise NoCode(_("A code begins with P (press), M (place on a press) or T (part)."), field="code")
    digits = text[1:-1]
    pk = _number(digits)
    if _weighed(text) or digits != _digits(pk) or pk < 1:
        raise NoCode(
            _("%(code)s is misread somewhere: its last character does not fit the others. Read it once more.")
            % {"code": text},
            field="code",
        )
    return Code(LETTERS[text[0]], pk)


def _digits(number: int) -> str:
    """The number in base 23, highest digit first, padded to two characters."""
    text = ""
    while number:
        number, rest = divmod(number, len(ALPHABET))
        text = ALPHABET[rest] + text
    return text.rjust(FEWEST_DIGITS, ALPHABET[0])


def _number(digits: str) -> int:
    number = 0
    for digit in digits:
        number = number * len(ALPHABET) + ALPHABET.index(digit)
    return number


def _weighed(text: str) -> int:
    """The sum of the characters' values, weighted 1, 2, 3 ... from the right, modulo 23; 0 for a valid
    code."""
    weighed = sum(weight * ALPHABET.index(letter) for weight, letter in enumerate(reversed(text), start=1))
    return weighed % len(ALPHABET)
