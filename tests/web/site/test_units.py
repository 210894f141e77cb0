"""Quantities on pages, in metric and in US units."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.template import Context, Template
from django.test import Client

from wearlog.people.models import Mill, User


def show(expression: str, value: object) -> str:
    return Template("{% load units %}{{ " + expression + " }}").render(Context({"value": value}))


@pytest.mark.parametrize(
    ("expression", "value", "metric", "us"),
    [
        ("value|mass", Decimal("453.59237"), "453.6 kg", "1,000 lb"),
        ("value|dimension", Decimal("25.4"), "25.40 mm", "1.0000 in"),
        ("value|temperature", Decimal("50"), "50 °C", "122 °F"),
        ("value|hours", Decimal("7.5"), "7.5 h", "7.5 h"),
        ("value|hours_per_tonne", 66.1, "66.1 h/t", "60.0 h/short ton"),  # 66.1 x 0.90718474 = 59.96
        ("value|throughput", 18.9, "18.9 kg/h", "41.7 lb/h"),  # 18.9 / 0.45359237 = 41.67
        # 0.0254 mm is a thou; a short ton is 0.90718474 t
        ("value|wear_rate", 0.0254, "0.025 mm/t", "0.91 thou/short ton"),
    ],
)
def test_each_quantity_reads_in_both_systems(expression: str, value: object, metric: str, us: str) -> None:
    assert show(f"{expression}:'metric'", value) == metric
    assert show(f"{expression}:'us'", value) == us


@pytest.mark.parametrize(
    "name", ["mass", "dimension", "temperature", "hours", "hours_per_tonne", "throughput", "wear_rate"]
)
def test_what_is_not_known_is_a_dash(name: str) -> None:
    assert show(f"value|{name}:'us'", None) == "–"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("of_mill", "of_person", "expected"),
    [("metric", "", "metric"), ("us", "", "us"), ("us", "metric", "metric"), ("", "", "metric")],
)
def test_a_person_reads_in_their_own_units_else_in_the_mills(
    of_mill: str, of_person: str, expected: str, client: Client, mill: Mill, owner: User
) -> None:
    Mill.objects.update(units=of_mill)
    User.objects.update(units=of_person)
    client.force_login(owner)
    assert str(client.get("/").wsgi_request.units) == expected  # type: ignore[attr-defined]
