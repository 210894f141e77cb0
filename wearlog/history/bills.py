"""The hours and costs that work took. Forecasts don't need these columns; they are read only for costs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from wearlog.history.cache import VersionCache
from wearlog.service.models import Service


@dataclass(frozen=True)
class Bill:
    """What one service took. `cost` is the amount of an invoice, in addition to the mill's own labour."""

    labour_h: float | None
    downtime_h: float | None
    cost: float | None


NO_BILL = Bill(None, None, None)
_KEPT: VersionCache[None, Mapping[int, Bill]] = VersionCache("bills", most=1)


def bills() -> Mapping[int, Bill]:
    """Bills by the service's primary key, without services for which none of them is recorded. One query, or
    none if cached."""
    return _KEPT.get(None, _read)


def _read() -> dict[int, Bill]:
    rows = Service.objects.not_voided().exclude(labour_h=None, downtime_h=None, cost=None)
    return {
        pk: Bill(_float(labour), _float(downtime), _float(cost))
        for pk, labour, downtime, cost in rows.order_by().values_list("pk", "labour_h", "downtime_h", "cost")
    }


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)
