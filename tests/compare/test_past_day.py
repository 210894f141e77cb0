"""What lasts and what pays, for a past day: as if the log ended there."""

from __future__ import annotations

import random
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import transaction

from tests.mills.busy_mill import DAYS, FIRST, a_busy_mill, cut_off
from tests.mills.forecast_shop import Shop
from wearlog.compare.ledger import ledger
from wearlog.compare.orders import orders
from wearlog.compare.reliability import type_lives
from wearlog.compare.repeats import repeats
from wearlog.compare.replacing import mend_or_buy, planned_replacement
from wearlog.compare.stopping import stops
from wearlog.equipment.models import PartType
from wearlog.forecasts.edges import Edges
from wearlog.history.record import load
from wearlog.runs.models import Price, Run
from wearlog.service.models import Service


def analysis(as_of: date) -> str:
    record, book = load(as_of), ledger()
    lives = type_lives(record)
    said: list[object] = [(one.type.code, one.lived, one.life, one.left) for one in lives]
    for one in lives:
        plan, choice = planned_replacement(record, book, one), mend_or_buy(record, book, one)
        said.append((plan.best_age, plan.planned_cost, plan.failure_cost, plan.why))
        said.append(choice and (choice.mend, choice.buy, choice.better, choice.why))
    for again in repeats(record):
        units = [(one.name, one.unit.events.tolist(), one.unit.end) for one in again.things]
        said.append((again.action, again.incident, again.kind, units, again.analysis))
    return repr([said, stops(record, book), orders(record, Edges(record), book)])


@pytest.mark.parametrize("seed", range(2))
def test_a_past_day_is_told_as_by_a_log_cut_off_there(db: None, seed: int) -> None:
    chance = random.Random(seed)
    a_busy_mill(Shop(), chance)
    Run.objects.update(oil_kg=Decimal(150))
    PartType.objects.update(unit_cost=Decimal(60))
    Service.objects.update(labour_h=Decimal(1), downtime_h=Decimal(2), cost=Decimal(5))
    for item in ("oil_kg", "labour_h", "stand_still_h"):
        Price.objects.create(item=item, from_on=FIRST - timedelta(days=999), price=Decimal(3))
    for _ in range(4):
        as_of = FIRST + timedelta(days=chance.randint(5, DAYS))
        full = analysis(as_of)
        with transaction.atomic():
            cut_off(as_of)
            assert analysis(as_of) == full, as_of
            transaction.set_rollback(True)
