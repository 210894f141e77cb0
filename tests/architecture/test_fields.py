"""A field is described once, on the model: label, unit, choices, limits. All else takes them from there."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from datetime import UTC
from decimal import Decimal
from pathlib import Path

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.functional import Promise

from wearlog.lockout.models import CautionWording
from wearlog.logbook.exchange.cells import BadCell
from wearlog.logbook.exchange.columns import Column
from wearlog.logbook.exchange.tables import TABLES
from wearlog.logbook.things import NEEDED
from wearlog.people import audit
from wearlog.people.cleaning import within
from wearlog.people.fields import Money, Quantity, Share
from wearlog.people.models import LogRecord, User
from wearlog.people.refusals import Refused
from wearlog.reminders.models import CalendarFeed, Mark, ReminderWish, Webhook
from wearlog.runs.models import ShiftNote
from wearlog.service.models import CropChange, LotHold, Photo
from wearlog.web.log.forms.corrections import CORRECTED
from wearlog.web.site.model_fields import of
from wearlog.words.history import column_words

WEB = Path(__file__).resolve().parents[2] / "wearlog" / "web"
OWN_APPS = ("people", "equipment", "runs", "service", "lockout", "reminders")
ASKS_THE_MODEL = {"of", "when"}
SAYS = {"label", "least", "most", "above", "min_value", "max_value", "max_length"}
"""What a form field may not say for itself. `limits=` is handed on from a model's field."""

OTHER_WORDS = {
    ("CropChangeForm", "finding"): "asks for one thing that work may find: what was cleaned",
    ("ReasonedForm", "reason"): "why the record is corrected, which is not a field of the record",
    ("PhotoDeleteForm", "reason"): "why a photo is deleted, which is kept by the trail",
    ("NewPartsForm", "count"): "how many parts are added, which no field of a part holds",
    ("OrderVoidForm", "reason"): "why an order is crossed out, which is kept by the trail too",
    ("ArrivalUndoForm", "reason"): "why an order has not arrived after all, which is kept by the trail too",
    ("VoidForm", "reason"): "why it is crossed out, which is kept by the trail too",
    ("LockCorrectForm", "reason"): "why the record of the lock changes, not why the lock came off",
    ("FitForm", "fitted_at"): "on a page about one act it is enough to ask when",
    ("TakeOffForm", "removed_at"): "on a page about one act it is enough to ask when",
    ("TakeOffForm", "retired_because"): "one of the answers is that it is not retired",
    ("NoteForm", "text"): "says whom the note is for; a length that a page can take",
    ("SheetLine", "hours_h"): "heads a narrow column",
    ("SheetLine", "seed_how"): "heads a narrow column",
    ("YearlyForm", "finding"): "asks for what is to be mended as well",
    ("MeForm", "gets_mail"): "speaks of the reader",
    ("LockOnForm", "name"): "the name of somebody without an account",
    ("LockOnForm", "firm"): "the firm of somebody without an account",
    ("HandOverForm", "name"): "the name of somebody without an account",
    ("HandOverForm", "firm"): "the firm of somebody without an account",
}
"""Where a form words a field of that name itself, and why."""


RECORDS = (*LogRecord.__subclasses__(), *NEEDED, LotHold, CropChange, User)
"""What pages tell the history of."""


ASKED_BESIDE_THE_LOG = (
    (Mark, "until_on"),
    (Mark, "reason"),
    (Mark, "given_to"),
    (Webhook, "url"),
    (Webhook, "is_on"),
    (CalendarFeed, "press"),
    (CalendarFeed, "note"),
    (Photo, "name"),
    (Photo, "digest"),
)


def own_models() -> list[type[models.Model]]:
    return [model for name in OWN_APPS for model in apps.get_app_config(name).get_models()]


def field_names() -> set[str]:
    asked_for = (*RECORDS, CautionWording, ReminderWish, Mark, Webhook, CalendarFeed, Photo)
    named = {field.name for model in asked_for for field in model._meta.concrete_fields}
    return named - {"person", "seed"}  # whose wishes they are, and a random text: no page asks for these


def called(node: ast.AST) -> str:
    return ast.unparse(node.func).rpartition(".")[2] if isinstance(node, ast.Call) else ""


def worded(source: str) -> Iterator[tuple[str, str]]:
    """Form and name of each form field in a module that says its label or limits itself."""
    known = field_names()
    for form in (node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.ClassDef)):
        for node in form.body:
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                name, value = node.targets[0].id, node.value
                if name in known and isinstance(value, ast.Call):
                    says = {word.arg for word in value.keywords} & SAYS
                    if says or (value.args and called(value) not in ASKS_THE_MODEL):
                        yield form.name, name
            if isinstance(node, ast.ClassDef) and node.name == "Meta":
                for each in node.body:
                    if isinstance(each, ast.Assign) and ast.unparse(each.targets[0]) == "labels":
                        assert isinstance(each.value, ast.Dict)
                        yield from ((form.name, str(ast.literal_eval(key))) for key in each.value.keys if key)


def test_no_form_words_or_bounds_a_field_that_its_model_describes() -> None:
    found = {
        (form, "*") if (form, "*") in OTHER_WORDS else (form, name)
        for path in (*WEB.glob("*/forms/*.py"), WEB / "site" / "forms.py")
        for form, name in worded(path.read_text())
    }
    assert found == OTHER_WORDS.keys()


@pytest.mark.parametrize(
    "line",
    [
        'lot = forms.CharField(label=_("Batch"))',
        'lot = of(Run, "lot", label=_("Batch"))',
        "cake_oil_pct = NumberField(most=40)",
        'reason = line(_("Why"), 40)',
        'class Meta:\n        labels = {"lot": _("Batch")}',
    ],
)
def test_the_rule_finds_a_field_that_is_described_again(line: str) -> None:
    assert list(worded(f"class BatchForm(EntryForm):\n    {line}\n"))
    assert not list(worded('class BatchForm(EntryForm):\n    lot = of(Run, "lot", widget=pills())\n'))


@pytest.mark.parametrize("model", RECORDS, ids=lambda model: model.__name__)
def test_every_field_of_a_record_has_a_label_that_is_translated(model: type[models.Model]) -> None:
    """The catalogues hold every text that is marked; another test sees to that."""
    internal = {"id", "slot", "ends_at", *audit.SECRET_FIELDS}
    unnamed = [
        field.name
        for field in model._meta.concrete_fields
        if field.name not in internal and not isinstance(field.verbose_name, Promise)
    ]
    assert unnamed == []


QUANTITIES = [
    field
    for model in own_models()
    for field in model._meta.concrete_fields
    if isinstance(field, models.DecimalField)
]
COLUMNS: dict[models.Field, Column] = {
    column.field: column for table in TABLES for column in table.columns if not column.refers
}


@pytest.mark.parametrize("field", QUANTITIES, ids=str)
def test_the_name_of_a_quantity_ends_with_its_unit_in_the_model_and_in_the_file(field: Quantity) -> None:
    if isinstance(field, Money | Share):
        assert not field.unit_ends_name
        return
    assert field.unit
    assert field.name.endswith(f"_{field.unit_ends_name}")
    assert column_words(field.model, field.attname) == f"{field.verbose_name} ({field.unit})"
    if field in COLUMNS:
        assert COLUMNS[field].name == field.name


def beyond(field: Quantity) -> list[Decimal]:
    """The values next to those that are taken."""
    limits, step = field.limits, Decimal("0.001")
    lowest = limits.least - step if limits.above is None else limits.above
    return [lowest, limits.most + step]


@pytest.mark.parametrize("field", QUANTITIES, ids=str)
def test_what_lies_beyond_a_limit_is_refused_with_one_sentence_on_every_way_in(field: Quantity) -> None:
    sentence = field.limits.refusal(field.unit)
    asked = of(field.model, field.name)
    for value in beyond(field):
        with pytest.raises(ValidationError) as on_a_form:
            asked.clean(str(value))
        with pytest.raises(ValidationError) as on_the_model:
            field.run_validators(value)
        with pytest.raises(Refused) as at_the_door:
            within(field, value)
        assert on_a_form.value.messages == on_the_model.value.messages == [sentence]
        assert at_the_door.value.message == f"{field.verbose_name}: {sentence}"
        if field in COLUMNS:
            with pytest.raises(BadCell) as in_a_file:
                COLUMNS[field].form.read(str(value), UTC)
            assert f"{in_a_file.value}." == sentence


@pytest.mark.parametrize("field", QUANTITIES, ids=str)
def test_a_limit_itself_is_taken_on_every_way_in(field: Quantity) -> None:
    lowest = field.limits.least if field.limits.above is None else field.limits.above + Decimal("0.001")
    for value in (lowest, field.limits.most):
        assert of(field.model, field.name).clean(str(value)) == value
        assert within(field, value) == value
        field.run_validators(value)
        if field in COLUMNS:
            assert COLUMNS[field].form.read(str(value), UTC) == value


def test_what_is_no_record_is_named_by_its_model_too() -> None:
    """On the pages of marks, web hook, calendar and photos, and in the history of a record."""
    for model, name in ASKED_BESIDE_THE_LOG:
        field = model._meta.get_field(name)
        assert isinstance(field.verbose_name, Promise)
        assert column_words(model, field.attname) == str(field.verbose_name)
    assert column_words(ShiftNote, "photo") == column_words(Photo, "name") == "Photo"
    assert column_words(ShiftNote, "digest") == column_words(Photo, "digest") == "Check sum"
    longest = of(Mark, "reason")
    assert longest.clean("x" * 500) == "x" * 500
    with pytest.raises(ValidationError):
        longest.clean("x" * 501)


def test_a_range_is_said_as_people_write_it() -> None:
    assert Quantity(least=-50, most=400).limits.refusal("°C") == "Write a number from -50 to 400 °C."
    assert Quantity(above=0, most=5000).limits.refusal("mm") == "Write a number above 0, up to 5000 mm."


@pytest.mark.parametrize("model", CORRECTED, ids=lambda model: model.__name__)
def test_a_correction_asks_in_the_words_of_the_model(model: type[models.Model]) -> None:
    for name in CORRECTED[model]:
        assert of(model, name).label == model._meta.get_field(name).verbose_name


def test_migrations_know_nothing_of_units_and_limits() -> None:
    """A limit that changes must not ask for a migration."""
    for field in QUANTITIES:
        _name, path, _args, how = field.deconstruct()
        assert path == "django.db.models.DecimalField"
        assert not how.keys() & {"least", "most", "above", "limits", "validators"}
        assert type(field.clone()) is models.DecimalField
