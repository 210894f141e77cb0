"""What the pages of all tables of records have in common."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import django_tables2 as tables
from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django_tables2 import RequestConfig

from wearlog.calc import units
from wearlog.people.dates import written
from wearlog.web.records.files import MOST_IN_XLSX
from wearlog.web.site.access import MillRequest

PER_PAGE = 50
MOST_ON_PAPER = 2_000
"""So many rows at most stand on one page to be printed; more are for a file."""
TABLES = (
    ("runs", gettext_lazy("Runs")),
    ("work", gettext_lazy("Work")),
    ("incidents", gettext_lazy("Incidents")),
    ("gauges", gettext_lazy("Gauges")),
    ("lives", gettext_lazy("Lives of parts")),
)


LAST = {"counts": 1, "known": 1, "season_start": 2}
"""Filters that are seldom asked for stand last."""


@dataclass(frozen=True)
class Total:
    """A sum below a table. `name` is that in the address of a figure."""

    name: str
    words: str
    text: str
    soft: bool = False
    """Only a part of another one."""


@dataclass(frozen=True)
class Crop:
    """The totals of the runs of one crop."""

    name: str
    totals: list[Total]


@dataclass(frozen=True)
class Field:
    """A filter in the form; `ticks` where several values can be ticked."""

    bound: forms.BoundField
    ticks: bool


def fields_of(form: forms.Form) -> list[Field]:
    """Those with something to choose from, in the order in which people ask."""
    found = []
    for bound in sorted(form.visible_fields(), key=lambda one: LAST.get(one.name, 0)):
        widget = bound.field.widget
        ticks = isinstance(widget, forms.CheckboxSelectMultiple)
        if not isinstance(widget, forms.CheckboxSelectMultiple) or list(widget.choices):
            found.append(Field(bound, ticks))
    return found


def asked_words(form: forms.Form) -> list[str]:
    """The filters that are set, in words: `Press: North, South`."""
    found = []
    for bound in form.visible_fields():
        value = form.cleaned_data.get(bound.name)
        if value in (None, "", []):
            continue
        choices = {str(key): str(word) for key, word in getattr(bound.field, "choices", ())}
        each = value if isinstance(value, list) else [value]
        words = ", ".join(
            written(one, "j M Y") if isinstance(one, date) else choices.get(str(one), str(one))
            for one in each
        )
        found.append(f"{bound.label}: {words}")
    return found


def show(
    request: MillRequest,
    name: str,
    *,
    form: forms.Form,
    table: tables.Table,
    totals: Sequence[Total],
    crops: Sequence[Crop] = (),
    remarks: Iterable[str] = (),
    too_many: str = "",
) -> HttpResponse:
    """The page of a table. too_many: why no workbook is made."""
    number = len(table.rows)
    whole = request.GET.get("rows") == "all" and number <= MOST_ON_PAPER
    per_page = max(number, 1) if whole else PER_PAGE
    RequestConfig(request, paginate={"per_page": per_page, "silent": True}).configure(table)
    context = {
        "name": name,
        "heading": dict(TABLES)[name],
        "tables": [(word, reverse(f"web:records-{one}"), one == name) for one, word in TABLES],
        "form": form,
        "fields": fields_of(form),
        "asked": asked_words(form),
        "totals": totals,
        "first": next((one for one in _each(totals, crops) if one.name == request.GET.get("total")), None),
        "crops": crops,
        "remarks": [one for one in remarks if one],
        "table": table,
        "pages": list(table.paginator.get_elided_page_range(table.page.number, on_each_side=1, on_ends=1)),
        "gap": table.paginator.ELLIPSIS,
        "whole": whole,
        "can_be_whole": PER_PAGE < number <= MOST_ON_PAPER and not whole,
        "too_many": too_many,
    }
    return render(request, "web/records/page.html", context, status=413 if too_many else 200)


def _each(totals: Sequence[Total], crops: Sequence[Crop]) -> Iterator[Total]:
    yield from totals
    for crop in crops:
        yield from crop.totals


def too_many_words(request: MillRequest, number: int) -> str:
    """Why a workbook of so many rows is not made where one is asked for; empty where it is."""
    if request.GET.get("download") != "xlsx" or number <= MOST_IN_XLSX:
        return ""
    return _(
        "A workbook holds %(most)s rows at most here. Choose fewer by season, press or crop, or take the "
        "CSV, which has any number."
    ) % {"most": units.show_number(MOST_IN_XLSX, 0, str(request.units))}
