"""The one door through which a task becomes plain text: with its caution or not at all."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from django.utils.translation import gettext as _

from wearlog.lockout.cautions.caution import NOT_YET, Caution
from wearlog.lockout.cautions.hazards import shown_word
from wearlog.lockout.cautions.steps import before_work

WIDTH = 76
"""Columns; plain-text mail is readable up to about this on a phone held sideways and in a terminal."""


def demand(caution: object) -> Caution:
    """The caution itself, or TypeError: a missing one is a mistake of the program and must not pass."""
    if not isinstance(caution, Caution) or caution is NOT_YET:
        raise TypeError(f"A task is shown with its Caution, not with {caution!r}.")
    return caution


def word_of(caution: Caution) -> str:
    """The signal word in the language that is active; the caution keeps the English one as code."""
    return shown_word(caution.signal_word)


def paragraphs_of(caution: Caution) -> list[str]:
    """The caution's sentences in the order of reading: what can hurt, the steps, what else holds.

    A text of another making is one paragraph."""
    hazards, steps, rest = demand(caution).text.partition(before_work())
    return [part.strip() for part in (hazards, steps, rest) if part.strip()]


def caution_as_text(caution: Caution, *, width: int | None = WIDTH) -> str:
    """Signal word, sentences, isolation points and version as lines of at most `width` columns (None:
    unwrapped)."""
    caution = demand(caution)
    first, *others = paragraphs_of(caution) or [""]
    lines = [_fold(f"{word_of(caution)}: {first}", width), *(_fold(other, width) for other in others)]
    if caution.isolation_points:
        lines.append(_("Isolation points:"))
        lines += [_fold(point, width, first="  - ", later="    ") for point in caution.isolation_points]
    lines.append(_("Version of this caution: %(version)s") % {"version": caution.version})
    return "\n".join(lines)


def task_as_text(
    heading: str, caution: Caution, *, details: Sequence[str] = (), width: int | None = WIDTH
) -> str:
    """A task for mail and terminal: heading, details one to a line, and the caution below them."""
    return "\n".join(
        [
            _fold(heading, width),
            *(_fold(detail, width) for detail in details if detail),
            "",
            caution_as_text(caution, width=width),
        ]
    )


def caution_in_one_line(caution: Caution) -> str:
    """The same for one cell of a table: sentences, then the points after a bar."""
    caution = demand(caution)
    return " | ".join([f"{word_of(caution)}: {caution.text}", *caution.isolation_points])


def _fold(text: str, width: int | None, *, first: str = "", later: str = "") -> str:
    if width is None:
        return first + text
    return textwrap.fill(
        text,
        width,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    )
