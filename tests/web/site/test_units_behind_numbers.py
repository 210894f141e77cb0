"""`150h`, `8 hours`, `12 %`: whoever writes the unit behind a number is understood in every form."""

from __future__ import annotations

import copy
import importlib
import pkgutil
from collections.abc import Iterator
from decimal import Decimal

import pytest
from django import forms

import wearlog.web
from wearlog.people.models import Units
from wearlog.web.site.fields import METRIC, NumberField, Reader

READERS = [METRIC, Reader(Units.US, METRIC.zone)]


def forms_of_the_site() -> Iterator[type[forms.BaseForm]]:
    for module in pkgutil.walk_packages(wearlog.web.__path__, "wearlog.web."):
        importlib.import_module(module.name)
    found = [forms.BaseForm]
    while found:
        each = found.pop()
        found += each.__subclasses__()
        if each.__module__.startswith("wearlog.web."):
            yield each


WITHIN = {"MillForm.enough_dies_pct": "80", "PartTypeForm.kerf_mm": "1"}
"""What is typed where 8 is too little or, in inches, too much."""


def number_fields() -> list[tuple[str, NumberField]]:
    return [
        (f"{form.__name__}.{name}", field)
        for form in forms_of_the_site()
        for name, field in getattr(form, "base_fields", {}).items()
        if isinstance(field, NumberField)
    ]


def test_every_number_is_understood_with_its_unit_behind_it() -> None:
    fields = number_fields()
    assert len(fields) > 40
    wrong = []
    for name, field in fields:
        for reader in READERS:
            asked = copy.deepcopy(field)
            asked.use_units_of(reader)
            if not asked.unit:
                continue
            typed = WITHIN.get(name, "8")
            alone = asked.to_python(typed)
            for text in (
                f"{typed}{asked.unit}",
                f"{typed} {asked.unit}",
                f" {typed}  {str(asked.unit).upper()} ",
            ):
                if asked.to_python(text) != alone:
                    wrong.append((name, text))
    assert wrong == []


@pytest.mark.parametrize("text", ["45 min", "0:45", "0.75 h", "0,75 hours"])
def test_hours_are_understood_in_minutes_too(text: str) -> None:
    form, field = next(each for each in number_fields() if each[0].endswith(".hours_h"))
    assert field.to_python(text) == Decimal("0.75"), form
