"""Due items as they are stored: one row per press, day and language, with what it was worked out from.

A row holds as long as its version is the log's. Cautions are not stored: they are made afresh for each
reader, so that none can be out of date.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, fields
from datetime import date, datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import IntegrityError

from wearlog.equipment.models import Press
from wearlog.forecasts.items import DueItem, WearFigure
from wearlog.forecasts.models import Standing
from wearlog.lockout.cautions.caution import NOT_YET

DAYS = ("due_on", "early_on", "late_on")


def stored(*, number: int, as_of: date, language: str) -> list[list[DueItem]] | None:
    """The stored items of each press; None where those of any press are missing or of another version.

    Their cautions have still to be put in (`queries.merged`)."""
    rows = Standing.objects.filter(log_version=number, as_of=as_of, language=language)
    found = dict(rows.values_list("press_id", "items"))
    if not found or set(found) != set(Press.objects.values_list("pk", flat=True)):
        return None
    return [[as_item(plain) for plain in items] for items in found.values()]


def prints(*, as_of: date, language: str) -> dict[int, tuple[str, int]]:
    """Of each press, the fingerprint that its row was worked out from and the version that it holds for."""
    rows = Standing.objects.filter(as_of=as_of, language=language)
    return {
        press: (name, number)
        for press, name, number in rows.values_list("press_id", "fingerprint", "log_version")
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
    """Store the items of a press, unless a later version's are there already."""
    new = {
        "log_version": number,
        "fingerprint": fingerprint,
        "items": [as_plain(item) for item in items],
        "made_at": at,
    }
    same = Standing.objects.filter(press_id=press_id, as_of=as_of, language=language)
    if same.filter(log_version__lte=number).update(**new) or same.exists():
        return
    try:
        Standing.objects.create(press_id=press_id, as_of=as_of, language=language, **new)
    except IntegrityError:  # another worker was quicker, or the press is gone
        same.filter(log_version__lte=number).update(**new)


def still_hold(*, press_ids: Iterable[int], as_of: date, language: str, number: int) -> None:
    """Say that what is stored of these presses holds for the log's version too."""
    Standing.objects.filter(
        press_id__in=list(press_ids), as_of=as_of, language=language, log_version__lt=number
    ).update(log_version=number)


def forget_before(day: date) -> None:
    Standing.objects.filter(as_of__lt=day).delete()


def as_plain(item: DueItem) -> dict[str, Any]:
    """An item as JSON, without its caution."""
    plain: dict[str, Any] = json.loads(json.dumps(asdict(item), cls=DjangoJSONEncoder))
    del plain["caution"]
    return plain


def as_item(plain: Mapping[str, Any]) -> DueItem:
    """The item that was stored, but for its caution."""
    values = {field.name: plain[field.name] for field in fields(DueItem) if field.name != "caution"}
    for name in DAYS:
        values[name] = _day(plain[name])
    wear = plain["wear"]
    if wear is not None:
        values["wear"] = WearFigure(**{**wear, "measured_on": _day(wear["measured_on"])})
    return DueItem(caution=NOT_YET, **values)


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
