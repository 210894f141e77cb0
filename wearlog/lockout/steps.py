"""The order of steps before work at a press, and before it may start again, in our own words.

The order and the paragraph numbers are those of 29 CFR 1910.147(d), (e) and (c)(9), a rule of the United
States; elsewhere the same order is good practice under other names. Local codes, the maker's manual and the
site's own procedure come first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


@dataclass(frozen=True)
class Step:
    """One step: a name for the program, its paragraph of 29 CFR 1910.147, and a clause for people."""

    name: str
    paragraph: str
    clause: _StrPromise


APPLY = (
    Step("know", "(d)(1)", gettext_lazy("know every energy source and tell those whom the stop concerns")),
    Step("shut down", "(d)(2)", gettext_lazy("shut the press down in its usual order")),
    Step("isolate", "(d)(3)", gettext_lazy("isolate every source")),
    Step("lock", "(d)(4)", gettext_lazy("each person fits their own lock and tag to each isolating device")),
    Step(
        "release",
        "(d)(5)",
        gettext_lazy("release or hold back all stored energy, again and again where it can build up"),
    ),
    Step(
        "verify",
        "(d)(6)",
        gettext_lazy("see that nobody is near, try the start, and turn the control back to off"),
    ),
)

RELEASE = (
    Step("look", "(e)(1)", gettext_lazy("take all tools out and see that the machine is whole, guards on")),
    Step("clear", "(e)(2)(i)", gettext_lazy("see that everybody stands clear")),
    Step("unlock", "(e)(3)", gettext_lazy("whoever fitted a lock takes it off, nobody else")),
    Step("tell", "(e)(2)(ii)", gettext_lazy("tell everybody concerned that the locks are off, then start")),
)


def as_sentence(lead: str, steps: Sequence[Step]) -> str:
    """The steps as one sentence, in the language that is active."""
    return _("%(lead)s: %(steps)s.") % {
        "lead": lead,
        "steps": "; ".join(str(step.clause) for step in steps),
    }


def before_work() -> str:
    return as_sentence(_("Before you open or reach into anything"), APPLY)


def before_restart() -> str:
    return as_sentence(_("Before the press may run again"), RELEASE)
