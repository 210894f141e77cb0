"""Saving what the log refers to: presses, positions, types, parts, crops, rules, plan, prices, people."""

from __future__ import annotations

from datetime import datetime
from typing import TypeVar

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models import ProtectedError

from wearlog.equipment.models import Part, PartType, Position, Press
from wearlog.forecasts import versions
from wearlog.lockout.models import EnergySource
from wearlog.people import audit
from wearlog.people.models import Mill, User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.runs.models import Crop, PlanEntry, Price
from wearlog.service.models import Rule

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


def cleaned(thing: models.Model) -> None:
    try:
        thing.full_clean()
    except ValidationError as error:
        fields = list(error.message_dict) if hasattr(error, "error_dict") else []
        field = next((name for name in fields if name != "__all__"), "")
        raise Refused(" ".join(error.messages), field=field) from error


def save_thing(*, by: User | None, at: datetime, thing: Thing) -> Thing:
    """Check and save a new or changed reference record."""
    needed = NEEDED.get(type(thing))
    if needed is None:
        raise TypeError(f"{type(thing).__name__} is not saved through save_thing.")
    require(by, needed)
    with transaction.atomic():
        before = type(thing)._default_manager.select_for_update().filter(pk=thing.pk).first()
        cleaned(thing)
        thing.save()
        audit.write(
            at=at,
            by=by,
            action="change" if before is not None else "add",
            record=thing,
            old=audit.snapshot(before) if before is not None else None,
            new=audit.snapshot(thing),
        )
        versions.touch()
    return thing


def remove_thing(*, by: User | None, at: datetime, thing: models.Model, reason: str = "") -> None:
    """Remove a reference record that nothing in the log refers to."""
    needed = NEEDED.get(type(thing))
    if needed is None or isinstance(thing, Mill):
        raise TypeError(f"{type(thing).__name__} is not removed through remove_thing.")
    require(by, needed)
    with transaction.atomic():
        old = audit.snapshot(thing)
        audit.write(at=at, by=by, action="remove", record=thing, old=old, reason=reason)
        try:
            thing.delete()
        except ProtectedError as error:
            raise Refused(
                f"{thing} is named in the log and can't be removed. "
                "Retire it, or correct those records first."
            ) from error
        versions.touch()


def remove_plan_entry(*, by: User | None, at: datetime, entry: PlanEntry) -> None:
    """Take an entry out of the season plan."""
    remove_thing(by=by, at=at, thing=entry)


def save_person(*, by: User | None, at: datetime, user: User, password: str | None = None) -> User:
    """Add or change a person. People change their own name, mail and units; the rest is the owner's."""
    require(by, Permission.OWN)
    with transaction.atomic():
        before = User.objects.select_for_update().filter(pk=user.pk).first() if user.pk else None
        if before is None:
            user.joined_at = user.joined_at or at
            user.set_unusable_password()
        if password is not None:
            try:
                validate_password(password, user)
            except ValidationError as error:
                raise Refused(" ".join(error.messages), field="password") from error
            user.set_password(password)
        cleaned(user)
        user.save()
        audit.write(
            at=at,
            by=by,
            action="change" if before is not None else "add",
            record=user,
            old=audit.snapshot(before) if before is not None else None,
            new=audit.snapshot(user),
        )
        versions.touch()
    return user
