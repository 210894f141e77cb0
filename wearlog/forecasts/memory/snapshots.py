"""Snapshots of due items in the database: one row per press, day and language, with a fingerprint of its
data.

A row is valid while nothing has been written since its version on which its press's items depend. Cautions
are not stored: they are made for each reader, so that none can be out of date.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping
from dataclasses import asdict, fields
from datetime import date, datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import IntegrityError, transaction

from wearlog.forecasts.items import DueItem, WearFigure
from wearlog.forecasts.models import ForecastSnapshot
from wearlog.lockout.cautions.caution import NOT_YET

DAYS = ("due_on", "early_on", "late_on")


def stored(
    *, press_ids: Collection[int], as_of: date, language: str
) -> dict[int, tuple[int, tuple[DueItem, ...]]]:
    """The stored items of these presses, with the version for which they are known to be valid.

    Their cautions are not filled in yet (`queries.with_their_cautions` does that)."""
    rows = ForecastSnapshot.objects.filter(press_id__in=press_ids, as_of=as_of, language=language)
    return {
        press_id: (number, tuple(as_item(plain) for plain in items))
        for press_id, number, items in rows.values_list("press_id", "log_version", "items")
    }


def fingerprints(*, as_of: date, language: str) -> dict[int, tuple[str, int]]:
    """For each press, the fingerprint of its stored row and the version for which the row is valid."""
    rows = ForecastSnapshot.objects.filter(as_of=as_of, language=language)
    return {
        press: (name, number)
        for press, name, number in rows.values_list("press_id", "fingerprint", "log_version")
    }


def with_fingerprints(
    *, press_ids: Collection[int], as_of: date, language: str
) -> dict[int, tuple[str, tuple[DueItem, ...]]]:
    """The stored items of these presses, valid or not, with the fingerprint of the data that they were
    computed from."""
    rows = ForecastSnapshot.objects.filter(press_id__in=press_ids, as_of=as_of, language=language)
    return {
        press_id: (name, tuple(as_item(plain) for plain in items))
        for press_id, name, items in rows.values_list("press_id", "fingerprint", "items")
    }


def keep(
    *,
    press_id: int,
    as_of: date,
    language: str,
    number: int,
    fingerprint: str,
    items: Iterable[DueItem],
    at: datetime,
) -> None:
    """Store the items of a press, unless those of a later version are stored already."""
    new = {
        "log_version": number,
        "fingerprint": fingerprint,
        "items": [as_plain(item) for item in items],
        "made_at": at,
    }
    same = ForecastSnapshot.objects.filter(press_id=press_id, as_of=as_of, language=language)
    if same.filter(log_version__lte=number).update(**new) or same.exists():
        return
    try:
        with transaction.atomic():
            ForecastSnapshot.objects.create(press_id=press_id, as_of=as_of, language=language, **new)
    except IntegrityError:  # another worker stored it first, or the press was deleted
        same.filter(log_version__lte=number).update(**new)


def mark_valid(*, press_ids: Iterable[int], as_of: date, language: str, number: int) -> None:
    """Mark the stored items of these presses as valid for the log's version `number`."""
    ForecastSnapshot.objects.filter(
        press_id__in=list(press_ids), as_of=as_of, language=language, log_version__lt=number
    ).update(log_version=number)


def forget_before(day: date) -> None:
    ForecastSnapshot.objects.filter(as_of__lt=day).delete()


def as_plain(item: DueItem) -> dict[str, object]:
    """An item as JSON-compatible data, without its caution."""
    plain: dict[str, object] = json.loads(json.dumps(asdict(item), cls=DjangoJSONEncoder))
    del plain["caution"]
    return plain


def as_item(plain: Mapping[str, Any]) -> DueItem:
    """The item from its stored form, without its caution."""
    values = {field.name: plain[field.name] for field in fields(DueItem) if field.name != "caution"}
    for name in DAYS:
        values[name] = _day(plain[name])
    wear = plain["wear"]
    if wear is not None:
        values["wear"] = WearFigure(**{**wear, "measured_on": _day(wear["measured_on"])})
    return DueItem(caution=NOT_YET, **values)


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
