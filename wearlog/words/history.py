"""The words for actions and columns of the audit trail. The trail itself is stored in English."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from wearlog.people.fields import unit_of
from wearlog.service.models import Photo

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

    from wearlog.people.fields import Words

ACTS: dict[str, _StrPromise] = {
    "log": pgettext_lazy("act", "log"),
    "add": pgettext_lazy("act", "add"),
    "append": pgettext_lazy("act", "append"),
    "arrive": pgettext_lazy("act", "arrive"),
    "change": pgettext_lazy("act", "change"),
    "correct": pgettext_lazy("act", "correct"),
    "remove": pgettext_lazy("act", "remove"),
    "replace": pgettext_lazy("act", "replace"),
    "retire": pgettext_lazy("act", "retire"),
    "state": pgettext_lazy("act", "state"),
    "stop": pgettext_lazy("act", "stop"),
    "take back": pgettext_lazy("act", "take back"),
    "take off": pgettext_lazy("act", "take off"),
    "undo move": pgettext_lazy("act", "undo move"),
    "hold lot": pgettext_lazy("act", "hold lot"),
    "release lot": pgettext_lazy("act", "release lot"),
    "sign crop change": pgettext_lazy("act", "sign crop change"),
    "add photo": pgettext_lazy("act", "add photo"),
    "delete photo": pgettext_lazy("act", "delete photo"),
    "ask for import": pgettext_lazy("act", "ask for an import"),
    "cancel import": pgettext_lazy("act", "cancel an import"),
    "check file": pgettext_lazy("act", "check a file"),
    "hand over": pgettext_lazy("act", "hand over"),
    "take off for another": pgettext_lazy("act", "take off for another"),
    "confirm": pgettext_lazy("act", "confirm"),
    "verify": pgettext_lazy("act", "verify"),
    "tell": pgettext_lazy("act", "tell"),
    "void": pgettext_lazy("act", "cross out"),
    "end": pgettext_lazy("act", "end"),
    "flip": pgettext_lazy("act", "flip"),
    "swap": pgettext_lazy("act", "swap"),
    "import": pgettext_lazy("act", "import"),
    "fit": pgettext_lazy("act", "fit"),
    "change with password": pgettext_lazy("act", "change with password"),
    "sign in by link": pgettext_lazy("act", "sign in by link"),
    "sign in by password": pgettext_lazy("act", "sign in by password"),
    "sign out": pgettext_lazy("act", "sign out"),
    "end session": pgettext_lazy("act", "sign out a device"),
    "end sessions": pgettext_lazy("act", "sign out every device"),
}
"""The actions on a record."""

COLUMNS: dict[str, Words] = {
    "device": _("Device"),
    "digest": Photo._meta.get_field("digest").verbose_name,
    "photo": Photo._meta.get_field("name").verbose_name,
}
"""Columns of the trail that are not fields of the record's model; fields have their own labels."""


def act_words(action: str) -> str:
    return str(ACTS.get(action, action))


def column_words(model: type[models.Model], column: str) -> str:
    """The name of a column of the trail for people, with its unit last: `Seed pressed (kg)`."""
    field = next((each for each in model._meta.concrete_fields if each.attname == column), None)
    if field is None:
        return str(COLUMNS.get(column, column.replace("_", " ")))
    unit = unit_of(field)
    return f"{field.verbose_name} ({unit})" if unit else str(field.verbose_name)
