"""Which caution belongs to a task: computed from given rows, or loaded in two queries for any number of
presses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from wearlog.lockout.cautions.caution import Caution
from wearlog.lockout.cautions.hazards import hazards_of
from wearlog.lockout.cautions.steps import before_work
from wearlog.lockout.cautions.wordings import AS_SHIPPED, Wordings, load
from wearlog.lockout.models import EnergyKind, EnergySource


@dataclass(frozen=True)
class TaskKind:
    """What a task's hazards depend on: `action` is a service action, `kind` a part kind (empty for the press
    as a whole); `on_press` is False only for work on a part that lies on the bench."""

    action: str
    kind: str
    on_press: bool = True


def caution_for(
    *,
    action: str,
    kind: str,
    sources: Sequence[EnergySource],
    on_press: bool = True,
    press_id: int | None = None,
    wordings: Wordings = AS_SHIPPED,
) -> Caution:
    """The caution of one task; as `caution_for_all`."""
    task = TaskKind(action, kind, on_press)
    return caution_for_all([task], sources=sources, press_id=press_id, wordings=wordings)


def caution_for_all(
    tasks: Sequence[TaskKind],
    *,
    sources: Sequence[EnergySource],
    press_id: int | None = None,
    wordings: Wordings = AS_SHIPPED,
) -> Caution:
    """One caution for all these tasks at one press, in the active language: it names the hazards of each of
    them. Pure: no query, no clock.

    `sources` are the energy sources recorded for the press, `wordings` the mill's own wordings, of which
    those for `press_id` and for every press apply. An unknown action or kind gets the hazards of every press.
    For output to people use `cautions_for`, which loads the mill's wordings.
    """
    met = [
        hazard
        for task in tasks
        for hazard in hazards_of(action=task.action, kind=task.kind, on_press=task.on_press)
    ]
    hazards = sorted(dict.fromkeys(met), key=lambda hazard: -hazard.word)
    worded = sorted((wordings.of(hazard, press_id) for hazard in hazards), key=lambda each: -each.word)
    everywhere, number = wordings.for_every_task(press_id)
    sentences = [*(each.sentence for each in worded), *everywhere]
    if not all(task.on_press for task in tasks):
        sentences.append(_("Taking the part off a press or fitting it is work at the press."))
    sentences += [before_work(), warm_head(), come_first()]
    if not sources:
        sentences.append(nothing_recorded())
    return Caution(
        signal_word=max(each.word for each in worded).name,
        text=" ".join(sentences),
        isolation_points=tuple(isolation_point(source) for source in sources),
        texts=max(number, *(each.number for each in worded)),
        in_short=(*(each.short for each in worded), *everywhere),
    )


def caution_for_press(press_id: int, action: str, kind: str) -> Caution:
    """The caution of one task at one press; two queries. For several presses use `cautions_for`."""
    return cautions_for([press_id]).of(press_id, action=action, kind=kind)


@dataclass(frozen=True)
class Cautions:
    """The energy sources of many presses and the mill's wordings, from which the caution of any task is made
    without a query."""

    sources: Mapping[int, Sequence[EnergySource]]
    wordings: Wordings

    def of(self, press_id: int | None, *, action: str, kind: str, on_press: bool = True) -> Caution:
        """`press_id` None: a task of no press in particular, which has no isolation points to name."""
        return self.of_all(press_id, [TaskKind(action, kind, on_press)])

    def of_all(self, press_id: int | None, tasks: Sequence[TaskKind]) -> Caution:
        """One caution for all these tasks at the press."""
        sources = () if press_id is None else self.sources.get(press_id, ())
        return caution_for_all(tasks, sources=sources, press_id=press_id, wordings=self.wordings)


def cautions_for(press_ids: Iterable[int]) -> Cautions:
    """Two queries for any number of presses; `cautions_for(ids).of(press_id, action=..., kind=...)`."""
    wanted = set(press_ids)
    found: dict[int, list[EnergySource]] = {}
    for source in EnergySource.objects.filter(press_id__in=wanted).order_by("press_id", "source"):
        found.setdefault(source.press_id, []).append(source)
    return Cautions(sources=found, wordings=load(wanted))


NEEDS_NO_SWITCH = (EnergyKind.PRESSURE, EnergyKind.GRAVITY, EnergyKind.THERMAL)
"""Kinds of energy stored in the machine itself: they are released or restrained, and often can't be switched
off."""


def isolation_point(source: EnergySource) -> str:
    """One source as one line: what it is, where it is isolated, how it is released and how that is
    verified."""
    parts = []
    if source.isolate_at:
        parts.append(_("isolate at %(place)s") % {"place": source.isolate_at})
    elif not source.release_by:
        parts.append(_("how to isolate or release it is not recorded: find out before you start"))
    elif source.kind not in NEEDS_NO_SWITCH:
        parts.append(_("where to isolate it is not recorded: find out before you start"))
    if source.release_by:
        parts.append(_("release or hold: %(means)s") % {"means": source.release_by})
    if source.verify_by:
        parts.append(_("verify: %(means)s") % {"means": source.verify_by})
    return _("%(source)s (%(kind)s): %(steps)s") % {
        "source": source.source,
        "kind": source.get_kind_display(),
        "steps": "; ".join(parts),
    }


def warm_head() -> str:
    """The sentence for heat, the one energy that may remain, since cake hardens in a cold head."""
    return _(
        "Where the head must be opened warm, heat may be kept under control instead of at zero: heater "
        "isolated, temperature measured, gloves on, stand aside and loosen slowly."
    )


def come_first() -> str:
    return _(
        "The maker's manual, the site's own procedure and local codes come first; electrical work is for a "
        "licensed electrician."
    )


def nothing_recorded() -> str:
    return _(
        "No isolation points are recorded for this press: find every energy source before you start, "
        "and have them recorded."
    )
