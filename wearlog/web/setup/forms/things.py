"""Forms for presses, positions, part types, parts, crops and energy sources."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING, TypeVar, Unpack

from django import forms
from django.db import models
from django.utils.choices import normalize_choices
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import HoursFrom, Part, PartType, Position, Press
from wearlog.lockout.models import EnergySource
from wearlog.runs.models import Crop
from wearlog.web.site.consecutive import MarksForm
from wearlog.web.site.fields import FieldArguments, InstantField, NumberField, Reader
from wearlog.web.site.forms import NOTHING_CHOSEN, ModelForm, UnitsForm
from wearlog.web.site.model_fields import Described, of

if TYPE_CHECKING:
    from wearlog.people.fields import Words

Thing = TypeVar("Thing", bound=models.Model)

MADE_BY_US = NumberField | InstantField


def text_area(rows: int = 3) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


class ThingForm(UnitsForm, ModelForm[Thing]):
    """A reference record in the reader's units. Unchanged fields keep all stored digits."""

    def __init__(
        self,
        data: Mapping[str, object] | None = None,
        *,
        reader: Reader,
        instance: Thing | None = None,
    ) -> None:
        super().__init__(data, instance=instance)
        for field in self.fields.values():
            if isinstance(field, forms.ModelChoiceField):
                field.empty_label = NOTHING_CHOSEN
            elif isinstance(field, forms.ChoiceField):
                known: Iterable[tuple[object, Words]] = normalize_choices(field.choices)
                field.choices = [(value, words if value else _("choose …")) for value, words in known]
        self.shape()
        self.take_reader(reader)

    def shape(self) -> None:
        """Fit the fields to the record, once they are made. A subclass says how."""

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or self.cleaned_data
        if self.instance.pk is not None:
            for name, field in self.fields.items():
                if isinstance(field, MADE_BY_US) and name in cleaned and name not in self.changed_data:
                    cleaned[name] = getattr(self.instance, name)
        return cleaned


class TagsField(forms.MultipleChoiceField):
    """Several words, stored separated by spaces."""

    def __init__(
        self, *, choices: Iterable[tuple[str, Words]] = (), **kwargs: Unpack[FieldArguments]
    ) -> None:
        kwargs.setdefault("required", False)
        kwargs.setdefault("widget", forms.CheckboxSelectMultiple)
        super().__init__(choices=choices, **kwargs)

    def prepare_value(self, value: object) -> object:
        return value.split() if isinstance(value, str) else value

    def clean(self, value: object) -> str:
        return " ".join(super().clean(value))

    def has_changed(self, initial: str | Collection[str] | None, data: Collection[str] | None) -> bool:
        return super().has_changed(initial.split() if isinstance(initial, str) else initial, data)


class PressForm(ThingForm[Press]):
    class Meta(Described):
        model = Press
        fields = (
            "code",
            "name",
            "maker",
            "model",
            "serial",
            "commissioned_on",
            "hours_from",
            "retired_on",
            "note",
        )
        widgets = {"note": text_area()}

    def shape(self) -> None:
        self.fields["hours_from"].required = False
        self.field("hours_from", forms.ChoiceField).choices = [
            ("", _("the runs, unless said otherwise")),
            *HoursFrom.choices,
        ]


class PositionForm(ThingForm[Position]):
    class Meta(Described):
        model = Position
        fields = ("name", "kind", "barrel", "share", "note")
        widgets = {"note": text_area(2)}

    def _get_validation_exclusions(self) -> set[str]:
        """Don't exclude the press, which the page sets, so that the uniqueness of (press, position) is
        validated."""
        return super()._get_validation_exclusions() - {"press"}  # type: ignore[misc,no-any-return]


class PartTypeForm(ThingForm[PartType]):
    for_crops = of(PartType, "for_crops", TagsField)

    class Meta(Described):
        model = PartType
        fields = (
            "code",
            "kind",
            "edges",
            "size_mm",
            "for_crops",
            "dimension",
            "new_mm",
            "limit_mm",
            "expected_life_kg",
            "expected_life_h",
            "lead_time_days",
            "unit_cost",
            "min_spares",
            "supplier",
            "bar_mm",
            "kerf_mm",
            "note",
        )
        widgets = {"note": text_area(2)}

    def shape(self) -> None:
        self.field("for_crops", forms.MultipleChoiceField).choices = [
            (crop.code, crop.code) for crop in Crop.objects.all()
        ]


class PartForm(ThingForm[Part]):
    class Meta(Described):
        model = Part
        fields = (
            "code",
            "part_type",
            "acquired_on",
            "made_from",
            "used_h",
            "used_kg",
            "used_on",
            "retired_on",
            "retired_because",
            "note",
        )
        widgets = {"note": text_area(2)}


MANY = 100


class NewPartsForm(MarksForm):
    """One part, or several of a type with consecutive marks."""

    part_type = of(
        Part,
        "part_type",
        error_messages={"required": _("Choose the type, or add it first.")},
    )
    first = of(
        Part,
        "code",
        help_text=_("Where several are added, the last number counts on: D5-07, D5-08 …"),
        error_messages={"required": _("Write the mark that is on the part.")},
    )
    count = forms.IntegerField(
        label=_("How many"), min_value=1, max_value=MANY, initial=1, widget=forms.NumberInput
    )
    acquired_on = of(Part, "acquired_on")
    made_from = of(Part, "made_from", help_text=_("A reamed die: the die that it was."))
    used_h = of(Part, "used_h", help_text=_("Of each. Empty for new parts."))
    used_kg = of(Part, "used_kg")
    used_on = of(Part, "used_on")
    note = of(Part, "note", widget=text_area(2))

    def parts(self) -> list[Part]:
        value = self.cleaned_data
        return [
            Part(
                code=code,
                part_type=value["part_type"],
                acquired_on=value.get("acquired_on"),
                made_from=value.get("made_from"),
                used_h=value.get("used_h"),
                used_kg=value.get("used_kg"),
                used_on=value.get("used_on"),
                note=self.text_of("note"),
            )
            for code in self.codes
        ]


class CropForm(ThingForm[Crop]):
    class Meta(Described):
        model = Crop
        fields = ("code", "bag_kg", "bushel_kg", "note")
        widgets = {"note": text_area(2)}

    def clean_code(self) -> str:
        code = str(self.cleaned_data["code"]).strip()
        if " " in code:
            raise forms.ValidationError(_("Write it as one word: a hyphen may stand where a space would."))
        old = self.initial.get("code")
        if old and code != old:
            # Part types refer to crops by tag, without a foreign key that would follow a new code.
            naming = [kind.code for kind in PartType.objects.all() if old in kind.for_crops.split()]
            if naming:
                raise forms.ValidationError(
                    _("Part types name this crop: %(types)s. Untick it there, rename it, and tick it again.")
                    % {"types": ", ".join(naming)}
                )
        return code


class EnergyForm(ThingForm[EnergySource]):
    class Meta(Described):
        model = EnergySource
        fields = ("source", "kind", "isolate_at", "release_by", "verify_by")

    def _get_validation_exclusions(self) -> set[str]:
        return super()._get_validation_exclusions() - {"press"}  # type: ignore[misc,no-any-return]
