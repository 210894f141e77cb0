"""Saving reference records: presses, positions, types, parts, crops, rules, sources, plan, prices, mill.

Changes that contradict the log are refused: a part that is fitted can't be retired, a barrel that runs name
can't be removed. Each refusal says what to do first.
"""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable
from datetime import datetime
from typing import TypeVar

from django.db import models
from django.db.models import ProtectedError
from django.utils.translation import gettext as _

from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.lockout.models import EnergySource
from wearlog.logbook.door import enter
from wearlog.people import audit
from wearlog.people.cleaning import check_numbers, clean
from wearlog.people.models import Mill, User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.people.words import day_of, when
from wearlog.runs.models import Crop, PlanEntry, Price, Run
from wearlog.service.models import IncidentKind, Rule
from wearlog.service.triggers import field_of, used_triggers

Thing = TypeVar("Thing", bound=models.Model)

NEEDED: dict[type[models.Model], Permission] = {
    Press: Permission.MAINTAIN,
    Position: Permission.MAINTAIN,
    PartType: Permission.MAINTAIN,
    Part: Permission.MAINTAIN,
    Crop: Permission.MAINTAIN,
    Rule: Permission.MAINTAIN,
    EnergySource: Permission.MAINTAIN,
    PlanEntry: Permission.OWN,
    Price: Permission.OWN,
    Mill: Permission.OWN,
}


def save_thing(*, by: User | None, at: datetime, thing: Thing) -> Thing:
    """Validate and save a new or changed reference record. Saving one unchanged writes no audit row."""
    needed = NEEDED.get(type(thing))
    if needed is None:
        raise TypeError(f"{type(thing).__name__} is not saved through save_thing.")
    require(by, needed)
    if isinstance(thing, Mill):
        thing.pk = 1
    return enter(lambda: _save(by=by, at=at, thing=thing))


def _save(*, by: User | None, at: datetime, thing: Thing) -> Thing:
    before = type(thing)._default_manager.select_for_update().filter(pk=thing.pk).first()
    check_numbers(thing)
    check = CHECKS.get(type(thing))
    if check is not None:
        check(thing, before)
    clean(thing)
    if before is not None and audit.snapshot(before) == audit.snapshot(thing):
        return thing
    thing.save()
    audit.write(
        at=at,
        by=by,
        action="change" if before is not None else "add",
        record=thing,
        old=audit.snapshot(before) if before is not None else None,
        new=audit.snapshot(thing),
    )
    if isinstance(thing, Position):
        _slots_follow(thing.press)
    return thing


def remove_thing(*, by: User | None, at: datetime, thing: models.Model, reason: str = "") -> None:
    """Delete a reference record that nothing in the log refers to. Raises Refused for others."""
    needed = NEEDED.get(type(thing))
    if needed is None or isinstance(thing, Mill):
        raise TypeError(f"{type(thing).__name__} is not removed through remove_thing.")
    require(by, needed)

    def write() -> None:
        audit.write(at=at, by=by, action="remove", record=thing, old=audit.snapshot(thing), reason=reason)
        try:
            thing.delete()
        except ProtectedError as error:
            raise Refused(
                _(
                    "%(thing)s is named in the log and can't be removed. Retire it, or correct those "
                    "records first."
                )
                % {"thing": thing}
            ) from error

    enter(write)


def remove_plan_entry(*, by: User | None, at: datetime, entry: PlanEntry) -> None:
    """Delete an entry of the season plan."""
    remove_thing(by=by, at=at, thing=entry)


def _check_press(press: Press, before: Press | None) -> None:
    if press.retired_on is None or (before is not None and before.retired_on == press.retired_on):
        return
    running = Run.objects.running().filter(press_id=press.pk).first()
    if running is not None:
        raise Refused(
            _("%(press)s is still pressing since %(when)s. End that run first.")
            % {"press": press, "when": when(running.started_at)},
            field="retired_on",
        )
    last = (
        Run.objects.not_voided().filter(press_id=press.pk, ends_at__isnull=False).order_by("-ends_at").first()
    )
    if last is not None and day_of(last.started_at) >= press.retired_on:
        raise Refused(
            _("%(press)s pressed as late as %(when)s. Give a later day, or correct that run.")
            % {"press": press, "when": when(last.started_at)},
            field="retired_on",
        )


def _check_position(position: Position, before: Position | None) -> None:
    position.barrel = position.barrel.strip()
    if " " in position.barrel:
        raise Refused(
            _("A barrel's name has no space, since runs list barrels with spaces between."), field="barrel"
        )
    others = position.press.positions.exclude(pk=position.pk).exclude(barrel="")
    barrels = {*others.values_list("barrel", flat=True), position.barrel} - {""}
    if len(barrels) > 2:
        raise Refused(
            _("A press has one or two barrels; this would be the third: %(names)s.")
            % {"names": ", ".join(sorted(barrels))},
            field="barrel",
        )
    if before is None:
        return
    if before.press_id != position.press_id:
        raise Refused(_("A position stays on its press. Add one to the other press."), field="press")
    fitted = Fitting.objects.not_voided().filter(position=position)
    if before.kind != position.kind and fitted.exists():
        raise Refused(
            _("Parts have sat on %(position)s, so its kind stays. Add another position.")
            % {"position": position},
            field="kind",
        )
    if before.barrel and before.barrel != position.barrel and before.barrel not in barrels:
        named = Run.objects.not_voided().filter(press_id=position.press_id).exclude(through="")
        for run in named.only("ref", "through").iterator():
            if before.barrel in run.through.split():
                raise Refused(
                    _("Run %(ref)s names the barrel %(barrel)s. Correct such runs first, or keep the name.")
                    % {"ref": run.ref, "barrel": before.barrel},
                    field="barrel",
                )


def _slots_follow(press: Press) -> None:
    """Update the slots of the press's runs, which depend on the order of its barrels' names."""
    barrels = press.barrels()
    for run in Run.objects.filter(press=press).exclude(through="").only("through", "slot").iterator():
        slot = Run.slot_of(run.through, barrels)
        if slot != run.slot:
            Run.objects.filter(pk=run.pk).update(slot=slot)


def _check_part_type(part_type: PartType, before: PartType | None) -> None:
    if part_type.new_mm is not None and part_type.new_mm == part_type.limit_mm:
        raise Refused(
            _("New size and limit are the same. Give the size at which it is worn."), field="limit_mm"
        )
    if before is None:
        return
    fitted = Fitting.objects.not_voided().filter(part__part_type=part_type)
    if before.kind != part_type.kind and fitted.exists():
        raise Refused(
            _("Parts of the type %(part_type)s have been fitted, so its kind stays. Add another type.")
            % {"part_type": part_type},
            field="kind",
        )
    if before.edges != part_type.edges:
        lost = fitted.exclude(edge__in=part_type.edge_names).select_related("part").first()
        if lost is not None:
            edge = _("edge %(edge)s") % {"edge": lost.edge} if lost.edge else _("no edge named")
            raise Refused(
                _(
                    "%(part)s was fitted with %(edge)s, which a part with %(edges)s edges doesn't "
                    "have. Add another type, or correct those fittings first."
                )
                % {"part": lost.part, "edge": edge, "edges": part_type.edges},
                field="edges",
            )


def _check_part(part: Part, before: Part | None) -> None:
    if part.retired_because and part.retired_on is None:
        raise Refused(_("Give the day on which the part was retired."), field="retired_on")
    if part.made_from_id is not None and part.made_from_id == part.pk:
        raise Refused(_("A part isn't made from itself. Choose the old part."), field="made_from")
    if before is None:
        return
    fitted = Fitting.objects.not_voided().filter(part=part).select_related("position__press")
    if before.part_type_id != part.part_type_id and fitted.exists():
        kind_stays = before.part_type.kind == part.part_type.kind
        if not kind_stays or fitted.exclude(edge__in=part.part_type.edge_names).exists():
            raise Refused(
                _(
                    "%(part)s has been fitted with edges or in places that a %(part_type)s doesn't "
                    "fit. Add a new part instead."
                )
                % {"part": part, "part_type": part.part_type},
                field="part_type",
            )
    if part.retired_on is None:
        return
    now = fitted.filter(removed_at__isnull=True).first()
    if now is not None:
        raise Refused(
            _("%(part)s sits on %(position)s. Take it off first.") % {"part": part, "position": now.position},
            field="retired_on",
        )
    last = fitted.order_by("-removed_at").first()
    if last is not None and last.removed_at is not None and day_of(last.removed_at) > part.retired_on:
        raise Refused(
            _("%(part)s came off %(position)s only on %(when)s. Give that day or a later one.")
            % {"part": part, "position": last.position, "when": when(last.removed_at)},
            field="retired_on",
        )


def _check_crop(crop: Crop, before: Crop | None) -> None:
    crop.code = crop.code.strip()
    if " " in crop.code:
        raise Refused(_("A crop's tag has no space. Write it in one word, or with a hyphen."), field="code")


def _check_rule(rule: Rule, before: Rule | None) -> None:
    unknown = [kind for kind in rule.after_incident.split() if kind not in IncidentKind.values]
    if unknown:
        raise Refused(
            _("%(unknown)s is no incident known here. Choose of %(names)s.")
            % {"unknown": repr(unknown[0]), "names": ", ".join(IncidentKind.values)},
            field="after_incident",
        )
    if not used_triggers(rule):
        raise Refused(
            _("Without a trigger the rule never falls due. Give at least one: %(triggers)s.")
            % {"triggers": ", ".join(str(field_of(name).verbose_name) for name in Rule.TRIGGERS)},
            field=Rule.TRIGGERS[0],
        )
    if rule.part_type is not None and rule.kind and rule.part_type.kind != rule.kind:
        raise Refused(
            _("%(part_type)s is a %(kind)s. Leave the kind empty, or change it.")
            % {"part_type": rule.part_type, "kind": rule.part_type.get_kind_display()},
            field="kind",
        )
    if (
        rule.position
        and rule.press is not None
        and not rule.press.positions.filter(name=rule.position).exists()
    ):
        raise Refused(
            _("%(press)s has no position %(position)s.")
            % {"press": rule.press, "position": repr(rule.position)},
            field="position",
        )


def _check_plan(entry: PlanEntry, before: PlanEntry | None) -> None:
    if entry.start_on and entry.end_on and entry.end_on < entry.start_on:
        raise Refused(_("The last day lies before the first. Change one."), field="end_on")


def _check_mill(mill: Mill, before: Mill | None) -> None:
    if mill.time_zone not in zoneinfo.available_timezones():
        raise Refused(
            _("%(time_zone)s is no time zone. Write it as in Europe/Vienna or America/Chicago.")
            % {"time_zone": repr(mill.time_zone)},
            field="time_zone",
        )


def _for(
    model: type[Thing], check: Callable[[Thing, Thing | None], None]
) -> tuple[type[models.Model], Callable[[models.Model, models.Model | None], None]]:
    def check_thing(thing: models.Model, before: models.Model | None) -> None:
        assert isinstance(thing, model)
        assert before is None or isinstance(before, model)
        check(thing, before)

    return model, check_thing


CHECKS = dict(
    (
        _for(Press, _check_press),
        _for(Position, _check_position),
        _for(PartType, _check_part_type),
        _for(Part, _check_part),
        _for(Crop, _check_crop),
        _for(Rule, _check_rule),
        _for(PlanEntry, _check_plan),
        _for(Mill, _check_mill),
    )
)
