"""The only functions that turn a task into plain text; none does so without the task's caution."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from django.utils.translation import gettext as _

from wearlog.lockout.cautions.caution import NOT_YET, Caution
from wearlog.lockout.cautions.hazards import shown_word
from wearlog.lockout.cautions.steps import before_work

WIDTH = 76
"""Columns; plain-text mail is readable up to about this width on a phone held sideways and in a terminal."""


def demand(caution: object) -> Caution:
    """Return the caution. Raises TypeError where it is missing or has no text, which is an error of the
    program."""
    if not isinstance(caution, Caution) or caution is NOT_YET:
        raise TypeError(f"A task is shown with its Caution, not with {caution!r}.")
    return caution


def word_of(caution: Caution) -> str:
    """The signal word in the active language; the caution stores the English one as code."""
    return shown_word(caution.signal_word)


def paragraphs_of(caution: Caution) -> list[str]:
    """The caution's text as paragraphs in reading order: what can hurt, the steps, further remarks.

    A text without this structure is one paragraph."""
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
    """The caution for one cell of a table: sentences, then the isolation points after a bar."""
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
