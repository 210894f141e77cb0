"""The base of entry forms: the reader's units, questions to confirm, and refusals shown at their field."""

from __future__ import annotations

import hashlib
import json
import re
import secrets
from collections.abc import Callable, Mapping, MutableMapping, Sequence
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING, ClassVar, TypedDict, TypeVar, Unpack

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.db.models.fields import BLANK_CHOICE_DASH
from django.forms.utils import ErrorList
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext_lazy as _

from wearlog.calc import units
from wearlog.people.cleaning import say_taken
from wearlog.people.refusals import Doubt, Refused
from wearlog.runs.validation import pace_words
from wearlog.web.site.fields import LengthField, Reader

if TYPE_CHECKING:
    ModelForm = forms.ModelForm
else:  # only the stubs make it generic

    class ModelForm(forms.ModelForm):
        def __class_getitem__(cls, _model):
            return cls


Kind = TypeVar("Kind", bound=forms.Field)


DJANGOS_EMPTY = BLANK_CHOICE_DASH[0][1]
TAKE = "take"
"""What was chosen instead of a slip: the number as it was read and the one that was meant."""
DECIMAL = r"\d{1,9}(\.\d{1,9})?"
NOTHING_CHOSEN = "–"
"""How a list says that nothing of it is chosen."""


class FormArguments(TypedDict, total=False):
    """What a page may pass on to one of Django's forms, beside what was sent."""

    files: MultiValueDict[str, UploadedFile[bytes]] | None
    initial: MutableMapping[str, object]
    auto_id: str
    prefix: str


def new_ref() -> str:
    """A new idempotency key for an entry, created with the page, so that submitting the page twice makes one
    entry."""
    return f"p-{secrets.token_hex(8)}"


NUMBER = r"(\d[\d.,]*(?:e[+-]?\d+)?)"
LENGTH = rf"{NUMBER} mm\b"
MASS = rf"{NUMBER} kg\b"


def rate_pattern() -> str:
    """A regular expression for a rate as domain messages write it in the active language."""
    return re.escape(pace_words(0)).replace("0", NUMBER, 1)


def in_units_of(reader: Reader, text: str) -> str:
    """A domain message with its SI rates, masses and sizes converted to the reader's units."""
    if not units.is_us(reader.system):
        return text
    for pattern, show in (
        (rate_pattern(), units.show_rate),
        (MASS, units.show_mass),
        (LENGTH, units.show_length),
    ):
        text = re.sub(pattern, partial(_in_system, reader.system, show), text)
    return text


def _in_system(system: str, show: Callable[[float, str], str], found: re.Match[str]) -> str:
    return show(float(found[1].replace(",", ".")), system)


def _holds(field: LengthField, typed: object, slip: Decimal) -> bool:
    try:
        return bool(field.to_python(typed) == slip)
    except forms.ValidationError:
        return False


class UnitsForm(forms.BaseForm):
    """A mixin for forms and model forms whose fields adopt the reader's units."""

    reader: Reader
    #: Codes of questions that are not asked, since nobody waits for the answer.
    not_asked: tuple[str, ...] = ()
    #: Field names of the domain, mapped to the form's names where these differ.
    aliases: ClassVar[Mapping[str, str]] = {}

    def take_reader(self, reader: Reader) -> None:
        self.reader = reader
        self.doubts: tuple[Doubt, ...] = ()
        self.use_required_attribute = False
        for field in self.fields.values():
            use_units_of = getattr(field, "use_units_of", None)
            if use_units_of is not None:
                use_units_of(reader)
            if isinstance(field, forms.ModelChoiceField) and field.empty_label == DJANGOS_EMPTY:
                field.empty_label = NOTHING_CHOSEN

    def field(self, name: str, kind: type[Kind]) -> Kind:
        """The field of that name, which is of that kind."""
        field = self.fields[name]
        assert isinstance(field, kind), f"{name} is a {type(field).__name__}"
        return field

    @property
    def confirmed(self) -> list[str]:
        """Codes of the questions that the person has confirmed.

        A confirmation from an earlier submit remains valid only while `entry_digest` is unchanged.
        """
        getlist = getattr(self.data, "getlist", None)
        if getlist is None:
            return list(self.not_asked)
        before = getlist("confirmed_before") if self.data.get("asked_about") == self.entry_digest else []
        return list(dict.fromkeys([*getlist("confirm"), *before, *self.not_asked]))

    @property
    def confirmed_before(self) -> list[str]:
        """Codes of questions confirmed earlier, carried along in the page so that they are not asked
        again."""
        requested = {doubt.code for doubt in self.doubts}
        return [code for code in self.confirmed if code not in requested]

    @property
    def entry_digest(self) -> str:
        """A hash of the numbers, times and choices as typed, without free text, which may change."""
        typed = [
            (name, self.data.getlist(name) if hasattr(self.data, "getlist") else self.data.get(name))
            for name, field in self.fields.items()
            if type(field) is not forms.CharField
        ]
        return hashlib.sha256(json.dumps(typed).encode()).hexdigest()[:16]

    def full_clean(self) -> None:
        """Clean as ever, with what was taken instead of a slip; Django's own errors about what is there
        already get words of ours."""
        self._take_instead()
        super().full_clean()
        for errors in self.errors.values():
            for each in errors.as_data():
                say_taken(each)

    def _take_instead(self) -> None:
        """Write the number that a person chose on the page ("53:5.3", in mm) into each field that holds the
        slip."""
        slip, _colon, meant = str(self.data.get(TAKE) or "").partition(":")
        if (
            not isinstance(self.data, QueryDict)
            or not re.fullmatch(DECIMAL, slip)
            or not re.fullmatch(DECIMAL, meant)
        ):
            return
        data = self.data.copy()
        del data[TAKE]
        for name, field in self.fields.items():
            if isinstance(field, LengthField) and _holds(
                field, data.get(self.add_prefix(name)), Decimal(slip)
            ):
                data[self.add_prefix(name)] = str(field.prepare_value(Decimal(meant)))
        self.data = data

    def refuse(self, refusal: Refused) -> None:
        """Add a refusal of the domain as an error of the field that it names, else of the form."""
        name = self.aliases.get(refusal.field, refusal.field)
        message = in_units_of(self.reader, refusal.message)
        self.add_error(name if name in self.fields else None, message)

    def ask(self, doubts: Sequence[Doubt]) -> None:
        """Add the doubts as questions to the form; those already confirmed stay ticked."""
        self.doubts = tuple(
            replace(doubt, question=in_units_of(self.reader, doubt.question)) for doubt in doubts
        )

    def summary(self) -> list[tuple[str, str]]:
        """(id of the input or "", text) of every error, in the order of the page."""
        lines = [("", str(text)) for text in self.non_field_errors()]
        for name in self.fields:
            errors: ErrorList = self.errors.get(name, ErrorList())
            bound = self[name]
            target = "" if bound.is_hidden else bound.id_for_label or bound.auto_id
            if isinstance(bound.field.widget, forms.RadioSelect | forms.CheckboxSelectMultiple):
                target = f"{bound.auto_id}_0" if len(bound) else ""  # no choices, no input to link to
            label = "" if bound.is_hidden else f"{bound.label}: "
            lines += [(target, f"{label}{text}") for text in errors]
        return lines


class EntryForm(UnitsForm, forms.Form):
    """A form for an entry of the log."""

    def __init__(
        self, data: Mapping[str, object] | None = None, *, reader: Reader, **more: Unpack[FormArguments]
    ) -> None:
        super().__init__(data, **more)
        self.take_reader(reader)

    def at_or(self, name: str, now: datetime) -> datetime:
        """The instant that was typed, or `now` where the field was left empty."""
        value = self.cleaned_data.get(name)
        return value if isinstance(value, datetime) else now

    def text_of(self, name: str) -> str:
        """The text typed into a field, without space around it; empty where none was."""
        return str(self.cleaned_data.get(name) or "").strip()


class ReasonedForm(EntryForm):
    """A form that changes a record: it asks why. `seen` is how often the record had been written when the
    form was shown."""

    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)
    reason = forms.CharField(
        label=_("Why is it corrected?"),
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("Kept with the record, beside the old values."),
        error_messages={"required": _("Write why; the reason is kept with the record.")},
    )
