"""Parts in words: their kind, their code, their edge, and the place where they sit."""

from __future__ import annotations

from django.utils.translation import gettext as _

from wearlog.equipment.models import Kind, Part


def kind_words(kind: str) -> str:
    """`die`; `press` for an empty kind, that is, work on no part."""
    return str(Kind(kind).label) if kind else _("press")


def noun_words(kind: str) -> str:
    """`die`, as in "the new die"; `part` for the kind `other`, whose name would say nothing."""
    return _("part") if kind == Kind.OTHER else kind_words(kind)


def with_edge(words: str, edge: str) -> str:
    """`D5-04, edge A`, or the words alone where the part has one edge."""
    return _("%(part)s, edge %(edge)s") % {"part": words, "edge": edge} if edge else words


def named(words: str, code: str) -> str:
    """`die D5-04`; a code that contains the words itself, such as `P4 belt`, is used alone."""
    return code if words.lower() in code.lower() else f"{words} {code}"


def part_words(kind: str, code: str, edge: str = "") -> str:
    """`die D5-04, edge A`: a part in a sentence, a heading, a line of the log."""
    return with_edge(named("" if kind in ("", Kind.OTHER) else kind_words(kind), code), edge)


def fitted_part_words(part: Part, edge: str = "") -> str:
    """`die D5-04, edge A`. Reads the part's type: fetch it with select_related in lists."""
    return part_words(part.part_type.kind, part.code, edge)


def mark_words(code: str, edge: str = "") -> str:
    """`D5-04 A`: a part as it is stamped and as it is typed into a field, for lists that show the kind
    separately."""
    return f"{code} {edge}".strip()


def at_place(words: str, position: str) -> str:
    """`die D5-04, edge A (left die)`; the position is left out if the words already contain it."""
    return words if position.lower() in words.lower() else f"{words} ({position})"


def seat_words(kind: str, position: str, code: str | None, edge: str = "") -> str:
    """`left die D5-04, edge A`, or `left die: nothing fitted`: a position of the press and the part on it."""
    place = position
    if kind != Kind.OTHER and kind_words(kind).lower() not in position.lower():
        place = f"{position} ({kind_words(kind)})"
    if code is None:
        return _("%(place)s: nothing fitted") % {"place": place}
    return with_edge(code if position.lower() in code.lower() else f"{place} {code}", edge)
