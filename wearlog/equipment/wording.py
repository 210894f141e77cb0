"""Error messages: why a part can't be fitted, and who moved it in the meantime."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext as _

from wearlog.equipment.models import Fitting
from wearlog.people import audit
from wearlog.people.words import when


def occupied_words(taken: Fitting, fitted_at: datetime) -> str:
    if taken.fitted_at > fitted_at:
        return _(
            "%(part)s was fitted on %(position)s on %(when)s, after the moment you gave. "
            "Give a later moment, or correct that fitting."
        ) % {"part": taken.part, "position": taken.position, "when": when(taken.fitted_at)}
    return _(
        "%(part)s%(edge)s sits on %(position)s since %(when)s. Take it off first, or log a replacement."
    ) % {
        "part": taken.part,
        "edge": edge_words(taken),
        "position": taken.position,
        "when": when(taken.fitted_at),
    }


def fitted_elsewhere_words(elsewhere: Fitting, fitted_at: datetime) -> str:
    if elsewhere.fitted_at > fitted_at:
        return _(
            "%(part)s went on %(position)s on %(when)s, after the moment you gave. Give a "
            "later moment, or correct that fitting."
        ) % {"part": elsewhere.part, "position": elsewhere.position, "when": when(elsewhere.fitted_at)}
    return _(
        "%(part)s sits on %(position)s since %(when)s. Take it off there first, or let "
        "the two parts change places."
    ) % {"part": elsewhere.part, "position": elsewhere.position, "when": when(elsewhere.fitted_at)}


def edge_words(fitting: Fitting) -> str:
    return _(" on edge %(edge)s") % {"edge": fitting.edge} if fitting.edge else ""


def who_moved(fitting: Fitting) -> str:
    """One sentence: who moved the part, when, and where to; and what to do now."""
    who = audit.by_whom(fitting)
    look = _("Look at the press page and enter only what is still missing.")
    if fitting.voided_at is not None:
        return _("This fitting of %(part)s was taken back%(who)s on %(when)s. %(look)s") % {
            "part": fitting.part,
            "who": who,
            "when": when(fitting.voided_at),
            "look": look,
        }
    if fitting.removed_at is None:  # pragma: no cover - callers ask only about ended fittings
        return _("%(part)s sits on %(position)s. %(look)s") % {
            "part": fitting.part,
            "position": fitting.position,
            "look": look,
        }
    moment = when(fitting.removed_at)
    after = (
        Fitting.objects.not_voided()
        .filter(part=fitting.part, fitted_at=fitting.removed_at)
        .select_related("position__press")
        .first()
    )
    if after is not None and after.position_id == fitting.position_id:
        return _("%(part)s was already flipped to edge %(edge)s%(who)s on %(moment)s. %(look)s") % {
            "part": fitting.part,
            "edge": after.edge,
            "who": who,
            "moment": moment,
            "look": look,
        }
    if after is not None:
        return _("%(part)s was already moved to %(position)s%(who)s on %(moment)s. %(look)s") % {
            "part": fitting.part,
            "position": after.position,
            "who": who,
            "moment": moment,
            "look": look,
        }
    instead = (
        Fitting.objects.not_voided()
        .filter(position=fitting.position, fitted_at=fitting.removed_at)
        .select_related("part")
        .first()
    )
    if instead is not None:
        new = f"{instead.part}{edge_words(instead)}"
        return _("%(part)s was already replaced by %(new)s%(who)s on %(moment)s. %(look)s") % {
            "part": fitting.part,
            "new": new,
            "who": who,
            "moment": moment,
            "look": look,
        }
    return _("%(part)s was already taken off %(position)s%(who)s on %(moment)s. %(look)s") % {
        "part": fitting.part,
        "position": fitting.position,
        "who": who,
        "moment": moment,
        "look": look,
    }
