"""The sentences that say why a part can't go where it should, and who moved it in the meantime."""

from __future__ import annotations

from datetime import datetime

from wearlog.equipment.models import Fitting
from wearlog.people import audit
from wearlog.people.words import when


def occupied(taken: Fitting, fitted_at: datetime) -> str:
    if taken.fitted_at > fitted_at:
        return (
            f"{taken.part} was fitted on {taken.position} on {when(taken.fitted_at)}, "
            "after the moment you gave. Give a later moment, or correct that fitting."
        )
    return (
        f"{taken.part}{edge_words(taken)} sits on {taken.position} since {when(taken.fitted_at)}. "
        "Take it off first, or log a replacement."
    )


def busy(elsewhere: Fitting, fitted_at: datetime) -> str:
    if elsewhere.fitted_at > fitted_at:
        return (
            f"{elsewhere.part} went on {elsewhere.position} on {when(elsewhere.fitted_at)}, "
            "after the moment you gave. Give a later moment, or correct that fitting."
        )
    return (
        f"{elsewhere.part} sits on {elsewhere.position} since {when(elsewhere.fitted_at)}. "
        "Take it off there first, or let the two parts change places."
    )


def edge_words(fitting: Fitting) -> str:
    return f" on edge {fitting.edge}" if fitting.edge else ""


def who_moved(fitting: Fitting) -> str:
    """One sentence: who moved the part, when, and where to; and what to do now."""
    who = audit.by_whom(fitting)
    look = "Look at the press page and enter only what is still missing."
    if fitting.voided_at is not None:
        return f"This fitting of {fitting.part} was taken back{who} on {when(fitting.voided_at)}. {look}"
    if fitting.removed_at is None:  # pragma: no cover - callers ask only about ended fittings
        return f"{fitting.part} sits on {fitting.position}. {look}"
    moment = when(fitting.removed_at)
    after = (
        Fitting.objects.standing()
        .filter(part=fitting.part, fitted_at=fitting.removed_at)
        .select_related("position__press")
        .first()
    )
    if after is not None and after.position_id == fitting.position_id:
        return f"{fitting.part} was already flipped to edge {after.edge}{who} on {moment}. {look}"
    if after is not None:
        return f"{fitting.part} was already moved to {after.position}{who} on {moment}. {look}"
    instead = (
        Fitting.objects.standing()
        .filter(position=fitting.position, fitted_at=fitting.removed_at)
        .select_related("part")
        .first()
    )
    if instead is not None:
        new = f"{instead.part}{edge_words(instead)}"
        return f"{fitting.part} was already replaced by {new}{who} on {moment}. {look}"
    return f"{fitting.part} was already taken off {fitting.position}{who} on {moment}. {look}"
