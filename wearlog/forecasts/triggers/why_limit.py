"""The sentence of the wear limit trigger."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from wearlog.calc.units import show_length, show_mass, show_number, show_wear_rate
from wearlog.equipment.models import Kind


@dataclass(frozen=True, kw_only=True)
class Moved:
    """How many times as far from the middle the mill's own record has put the early and the late day; None
    for a day that stands as worked out."""

    early: float | None
    late: float | None


def nothing(reason: str) -> str:
    return _("Nothing can be said of the limit: %(reason)s.") % {
        "reason": reason or _("nothing is known of this part type")
    }


def by_life(*, used: str, life: str, left: str, route: str, about: str) -> str:
    values = {"used": used, "life": life, "left": left, "route": route, "about": about}
    if about and route:
        return (
            _("It has worked %(used)s of an expected life of %(life)s; %(left)s left; %(route)s %(about)s.")
            % values
        )
    if about:
        return _("It has worked %(used)s of an expected life of %(life)s; %(about)s.") % values
    return (
        _(
            "It has worked %(used)s of an expected life of %(life)s; %(left)s left; no plan or pace to tell "
            "the day from."
        )
        % values
    )


def measured(
    *,
    edge: str,
    kind: str,
    basis: str,
    worn: float | None,
    budget: float,
    taken: float,
    since: str,
    back_on: str,
    rates: Sequence[tuple[str, float]],
    left: float | None,
    route: str,
    about: str,
    passed: str,
    heard: str,
    moved: Moved,
    units: str,
) -> str:
    """How much is worn, at which rate, what is left, and when; or that the limit has been passed.

    since: the rebuild with which the edge's present life began, else empty. back_on: for a part on the shelf,
    the press on which it is assumed to be used again, else empty. heard: the models that have a say in the
    day, with their shares, where the wear model does not speak alone."""
    clauses = [
        _worn(edge, kind, basis, worn, budget, show_mass(taken, units), since, units),
        _rate(kind, basis, rates, units),
    ]
    if passed:
        clauses.append(_("the limit was reached %(about)s") % {"about": about})
    else:
        if left is not None:
            clauses.append(_("%(left)s left") % {"left": show_mass(left, units)})
        if back_on:
            clauses.append(
                _("it lies off the press and is reckoned as going back on %(press)s") % {"press": back_on}
            )
        clauses.append(f"{route} {about}".strip() if about else _("no plan or pace to tell the day from"))
    if heard:
        clauses.append(_("by how past limits were told the days are mixed of %(models)s") % {"models": heard})
    clauses.append(_moved(moved))
    return "; ".join(clause for clause in clauses if clause) + "."


def _moved(moved: Moved) -> str:
    values = {
        "early": "" if moved.early is None else show_number(moved.early, 2),
        "late": "" if moved.late is None else show_number(moved.late, 2),
    }
    if moved.early is not None and moved.late is not None:
        return (
            _(
                "by your own record the early day was moved to %(early)s times its distance from "
                "the middle, the late day to %(late)s times"
            )
            % values
        )
    if moved.early is not None:
        return (
            _("by your own record the early day was moved to %(early)s times its distance from the middle")
            % values
        )
    if moved.late is not None:
        return (
            _("by your own record the late day was moved to %(late)s times its distance from the middle")
            % values
        )
    return ""


def kind_words(kind: str) -> str:
    """`die`, in the active language; an unknown kind is returned unchanged."""
    return str(Kind(kind).label) if kind in Kind.values else kind


def _worn(
    edge: str, kind: str, basis: str, worn: float | None, budget: float, taken: str, since: str, units: str
) -> str:
    who = _("Edge %(edge)s") % {"edge": edge} if edge else _("The %(kind)s") % {"kind": kind_words(kind)}
    values = {
        "who": who,
        "worn": show_length(None if worn is None else max(worn, 0.0), units),
        "budget": show_length(budget, units),
        "taken": _("%(taken)s since %(work)s") % {"taken": taken, "work": since} if since else taken,
    }
    if basis == "measured":
        return _("%(who)s has worn %(worn)s of %(budget)s after %(taken)s") % values
    return (
        _("%(who)s, not measured yet, has by estimate worn %(worn)s of %(budget)s after %(taken)s") % values
    )


def _rate(kind: str, basis: str, rates: Sequence[tuple[str, float]], units: str) -> str:
    if basis == "expected_life":
        return _("the expected life of its type is taken, since none has been measured")
    if not rates:
        return ""
    listed = _(" and ").join(f"{crop} {show_wear_rate(rate * 1000, units)}" for crop, rate in rates)
    if basis == "measured":
        return _("on this %(kind)s %(listed)s") % {"kind": kind_words(kind), "listed": listed}
    return _("as on others of its type %(listed)s") % {"listed": listed}
