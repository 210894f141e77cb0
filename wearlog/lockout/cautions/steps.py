"""The order of steps before work at a press, during it, and before it may start again, in our own words.

The order and the paragraph numbers are those of 29 CFR 1910.147(d), (e), (f) and (c)(9), a rule of the United
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

TEST = (
    Step("put away", "(f)(1)(i)", gettext_lazy("take tools and material away from the machine")),
    Step("stand clear", "(f)(1)(ii)", gettext_lazy("see that everybody stands clear")),
    Step("unlock for it", "(f)(1)(iii)", gettext_lazy("take the locks off, each person their own")),
    Step("try", "(f)(1)(iv)", gettext_lazy("switch on and make the test")),
    Step(
        "lock again",
        "(f)(1)(v)",
        gettext_lazy("switch off, isolate, lock and verify anew before anybody goes on working"),
    ),
)
"""The steps for a test under power in the middle of the work."""

TOGETHER = (
    Step("lead", "(f)(3)(ii)(A)", gettext_lazy("one person leads and answers for the locks of all")),
    Step("know who", "(f)(3)(ii)(B)", gettext_lazy("who leads knows at any moment who is at work")),
    Step(
        "coordinate",
        "(f)(3)(ii)(C)",
        gettext_lazy("where several crews work, one person keeps them together"),
    ),
    Step(
        "own lock",
        "(f)(3)(ii)(D)",
        gettext_lazy("each fits their own lock before they begin and takes it off when they stop"),
    ),
)
"""Several people at one press."""

HAND_OVER = (
    Step("meet", "(f)(4)", gettext_lazy("both meet at the press, and who comes hears how far the work is")),
    Step("new lock", "(f)(4)", gettext_lazy("who comes fits their own lock while the other's is still on")),
    Step("old lock", "(e)(3)", gettext_lazy("who goes takes their own lock off")),
    Step(
        "verify again", "(d)(6)", gettext_lazy("who comes tries the start, control back to off, then works")
    ),
)
"""A change of shift or of the person."""

CONTRACTORS = (
    Step(
        "tell each other",
        "(f)(2)(i)",
        gettext_lazy("mill and contractor tell each other how they lock and tag"),
    ),
    Step(
        "respect",
        "(f)(2)(ii)",
        gettext_lazy("the mill's people know what the contractor's locks mean and leave them alone"),
    ),
)

FOR_ANOTHER = (
    Step("not here", "(e)(3)(i)", gettext_lazy("make sure that the person is not on the premises")),
    Step(
        "reach",
        "(e)(3)(ii)",
        gettext_lazy("try every reasonable way to reach them and say that the lock comes off"),
    ),
    Step("before return", "(e)(3)(iii)", gettext_lazy("see that they know before they work here again")),
)
"""The narrow exception to `unlock`: directed by the owner, following a written procedure that people were
trained in."""


def as_sentence(lead: str, steps: Sequence[Step]) -> str:
    """The steps as one sentence, in the active language."""
    return _("%(lead)s: %(steps)s.") % {
        "lead": lead,
        "steps": "; ".join(str(step.clause) for step in steps),
    }


def before_work() -> str:
    return as_sentence(_("Before you open or reach into anything"), APPLY)


def before_restart() -> str:
    return as_sentence(_("Before the press may run again"), RELEASE)


def for_a_test() -> str:
    return as_sentence(_("For a test under power"), TEST)


def several_people() -> str:
    return as_sentence(_("Where several work"), TOGETHER)


def hand_over() -> str:
    return as_sentence(_("To hand over"), HAND_OVER)


def contractors() -> str:
    return as_sentence(_("With contractors"), CONTRACTORS)


def for_another() -> str:
    return as_sentence(_("To take off the lock of somebody who is not there"), FOR_ANOTHER)
