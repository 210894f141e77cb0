"""What gauges have taught, stored in the database, so that one process learns it and all others read it.

It is kept under the fingerprint of the data that it was learned from, and a digest of the code that learns:
whoever asks works that fingerprint out from the log, so that nothing out of date can be found."""

from __future__ import annotations

import pkgutil
import sys
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from functools import cache
from importlib import import_module
from typing import cast

import numpy as np
from django.db import IntegrityError, connection, transaction

from wearlog.calc import wear
from wearlog.calc.wear.learned import Learned
from wearlog.forecasts.models import LearnedWear
from wearlog.history import packing
from wearlog.history.cache import may_cache
from wearlog.history.versions import Versions

KINDS: Mapping[str, type] = {
    f"{kind.__module__}.{kind.__name__}": kind
    for module in pkgutil.iter_modules(wear.__path__)
    for kind in vars(import_module(f"{wear.__name__}.{module.name}")).values()
    if isinstance(kind, type) and is_dataclass(kind) and kind.__module__.startswith(wear.__name__)
}
"""Every dataclass of the wear model, by its name: what is learned is made of them."""
MOST = 4
"""So many states of the log have their lessons stored: today's, and some days looked back at."""

Arrays = dict[str, packing.Array]


@cache
def shape() -> str:
    return packing.shape_of(sys.modules[__name__], packing, folders=(wear,))


def find(fingerprint: str) -> tuple[Learned, ...] | None:
    """What was learned from the data with this fingerprint; None where it isn't stored, or not whole."""
    if connection.in_atomic_block or not shape():
        return None
    rows = LearnedWear.objects.filter(fingerprint=fingerprint, shape=shape())
    packed = rows.values_list("learned", flat=True).first()
    if packed is None:
        return None
    try:
        arrays, notes = packing.unpack(bytes(packed))
        found = tuple(_whole(each, arrays) for each in cast("list[object]", notes))
    except (packing.BadPack, KeyError, TypeError):
        return None
    return cast("tuple[Learned, ...]", found)


def standing(*, as_of: date, known: Versions) -> str | None:
    """The fingerprint of what the log teaches at the end of a day by these versions, if it was noted
    (`note`). It can be found (`find`) under it."""
    if not may_cache(known.number) or not shape():
        return None
    valid = LearnedWear.objects.filter(
        as_of=as_of, shape=shape(), number__gte=max(known.setup, known.lessons), number__lte=known.number
    )
    return valid.order_by("-number").values_list("fingerprint", flat=True).first()


def note(fingerprint: str, *, as_of: date, number: int) -> None:
    """Note that this is what the log teaches at the end of a day by the version `number`."""
    LearnedWear.objects.filter(fingerprint=fingerprint).exclude(as_of=as_of, number=number).update(
        as_of=as_of, number=number
    )


def keep(fingerprint: str, learned: Sequence[Learned], *, at: datetime) -> None:
    """Store it, unless it is there; of what was stored before, the latest stay."""
    if not shape() or LearnedWear.objects.filter(fingerprint=fingerprint, shape=shape()).exists():
        return
    arrays: Arrays = {}
    notes = [_apart(each, f"{index}", arrays) for index, each in enumerate(learned)]
    new = {"shape": shape(), "made_at": at, "learned": packing.pack(arrays, notes)}
    try:
        with transaction.atomic():
            LearnedWear.objects.update_or_create(fingerprint=fingerprint, defaults=new)
    except IntegrityError:  # another worker stored it at the same moment
        return
    latest = LearnedWear.objects.order_by("-made_at", "-pk").values_list("pk", flat=True)[:MOST]
    LearnedWear.objects.exclude(pk__in=list(latest)).delete()


def forget() -> None:
    """Take away all that was stored."""
    LearnedWear.objects.all().delete()


def as_read_back(learned: Sequence[Learned]) -> tuple[Learned, ...]:
    """The same with its arrays laid out as those that were stored: whoever learned it then computes from it
    to the last bit what others compute who read it."""
    arrays: Arrays = {}
    notes = [_apart(each, f"{index}", arrays) for index, each in enumerate(learned)]
    laid_out = {name: np.array(array, order="C") for name, array in arrays.items()}
    return cast("tuple[Learned, ...]", tuple(_whole(each, laid_out) for each in notes))


def _apart(value: object, path: str, arrays: Arrays) -> object:
    """The value as JSON can hold it; its arrays go to `arrays`, by their path."""
    if isinstance(value, np.ndarray):
        arrays[path] = value
        return {"array": path}
    if isinstance(value, np.generic):
        return value.item()
    if is_dataclass(value) and not isinstance(value, type):
        own = {field.name: getattr(value, field.name) for field in fields(value)}
        parts = {name: _apart(each, f"{path}.{name}", arrays) for name, each in own.items()}
        return {"kind": f"{type(value).__module__}.{type(value).__name__}", "parts": parts}
    if value is None or isinstance(value, str | int | float):
        return value
    raise TypeError(f"{type(value)} can't be stored")


def _whole(plain: object, arrays: Mapping[str, packing.Array]) -> object:
    if not isinstance(plain, dict):
        return plain
    if "array" in plain:
        return arrays[plain["array"]]
    return KINDS[plain["kind"]](**{name: _whole(each, arrays) for name, each in plain["parts"].items()})
