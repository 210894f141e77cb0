"""What a mill sets up: presses, positions, part types, parts, crops, energy sources."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.kinds import KINDS, Kind
from wearlog.equipment.models import HoursFrom, Part, PartType, Position, Press
from wearlog.lockout.models import EnergySource
from wearlog.runs.models import Crop
from wearlog.web.site.fields import (
    DayField,
    HoursField,
    InstantField,
    LengthField,
    MassField,
    NumberField,
    Reader,
)
from wearlog.web.site.forms import EntryForm, ModelForm, Speaking

MADE_BY_US = NumberField | InstantField


def area(rows: int = 3) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


class ThingForm(Speaking, ModelForm):
    """A reference record in the reader's units. What was not touched keeps its stored digits."""

    def __init__(self, *args: Any, reader: Reader, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if isinstance(field, forms.ModelChoiceField):
                field.empty_label = "–"
            elif isinstance(field, forms.ChoiceField):
                known: Any = field.choices
                field.choices = [(value, words if value else _("choose …")) for value, words in known]
        self.take_reader(reader)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if self.instance.pk is not None:
            for name, field in self.fields.items():
                if isinstance(field, MADE_BY_US) and name in cleaned and name not in self.changed_data:
                    cleaned[name] = getattr(self.instance, name)
        return cleaned


class TagsField(forms.MultipleChoiceField):
    """Several words, stored with a space between."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("required", False)
        kwargs.setdefault("widget", forms.CheckboxSelectMultiple)
        super().__init__(**kwargs)

    def prepare_value(self, value: Any) -> Any:
        return value.split() if isinstance(value, str) else value

    def clean(self, value: Any) -> Any:
        return " ".join(super().clean(value))

    def has_changed(self, initial: Any, data: Any) -> bool:
        return super().has_changed(self.prepare_value(initial), data)


class PressForm(ThingForm):
    commissioned_on = DayField(label=_("At work since"))
    retired_on = DayField(label=_("Retired on"), help_text=_("Empty: it is in use."))

    class Meta:
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
        labels = {
            "code": _("Short name"),
            "name": _("Name"),
            "maker": _("Maker"),
            "model": _("Model"),
            "serial": _("Serial number"),
            "hours_from": _("Hours count from"),
            "note": _("Note"),
        }
        help_texts = {"code": _("As people call it: P1. It stands in lists and files.")}
        widgets = {"note": area()}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["hours_from"].required = False
        self.fields["hours_from"].choices = [  # type: ignore[attr-defined]
            ("", _("the runs, unless said otherwise")),
            *HoursFrom.choices,
        ]


ONE_BARREL = tuple((kind.value, kind, "") for kind in Kind if KINDS[kind].usual)
TEMPLATES: dict[str, tuple[Any, tuple[tuple[str, Kind, str], ...]]] = {
    "single": (_("one barrel: screw, die, barrel, head, heater, drive"), ONE_BARREL),
    "twin": (
        _("two barrels, left and right, on one drive"),
        tuple(
            (f"{name} {side}", kind, side)
            for side in ("left", "right")
            for name, kind, _barrel in ONE_BARREL
            if KINDS[kind].in_each_barrel
        )
        + tuple(row for row in ONE_BARREL if not KINDS[row[1]].in_each_barrel),
    ),
    "none": (_("none yet"), ()),
}


class NewPressForm(PressForm):
    """A press with the positions to start from."""

    positions = forms.ChoiceField(
        label=_("Positions to start with"),
        choices=[(key, words) for key, (words, _rows) in TEMPLATES.items()],
        initial="single",
        widget=forms.RadioSelect,
        help_text=_("What sits where can be changed, and more added, at any time."),
    )

    def first_positions(self, press: Press) -> list[Position]:
        _words, rows = TEMPLATES[self.cleaned_data["positions"]]
        return [Position(press=press, name=name, kind=kind, barrel=barrel) for name, kind, barrel in rows]


class PositionForm(ThingForm):
    share = NumberField(
        label=_("Part of the seed"),
        most=1,
        help_text=_("From 0 to 1, where the barrels of a twin don't take the same. Empty: evenly."),
    )

    class Meta:
        model = Position
        fields = ("name", "kind", "barrel", "share", "note")
        labels = {
            "name": _("Position"),
            "kind": _("Kind of part"),
            "barrel": _("Barrel"),
            "note": _("Note"),
        }
        help_texts = {"barrel": _("Only where the press has two: left, right.")}
        widgets = {"note": area(2)}

    def _get_validation_exclusions(self) -> set[str]:
        """The press is set by the page, and the pair (press, position) must still be checked."""
        return super()._get_validation_exclusions() - {"press"}  # type: ignore[misc,no-any-return]


class PartTypeForm(ThingForm):
    size_mm = LengthField(label=_("Size"), most=5000)
    for_crops = TagsField(label=_("For the crops"), help_text=_("None ticked: for all."))
    new_mm = LengthField(label=_("New"), most=5000)
    limit_mm = LengthField(
        label=_("Limit"), most=5000, help_text=_("Above new for a bore that opens, below for what wears off.")
    )
    expected_life_kg = MassField(label=_("Expected life of an edge, seed"))
    expected_life_h = HoursField(label=_("Expected life of an edge, hours"))
    lead_time_days = NumberField(label=_("Time to get a new one"), unit=_("days"), most=3650)
    unit_cost = NumberField(label=_("Price of one"))

    class Meta:
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
            "note",
        )
        labels = {
            "code": _("Name"),
            "kind": _("Kind"),
            "edges": _("Edges"),
            "dimension": _("What is gauged"),
            "min_spares": _("Spares to keep"),
            "note": _("Note"),
        }
        help_texts = {
            "edges": _("A die that can be flipped has 2."),
            "dimension": _("Such as: bore, flight width."),
        }
        widgets = {"note": area(2)}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["for_crops"].choices = [  # type: ignore[attr-defined]
            (crop.code, crop.code) for crop in Crop.objects.all()
        ]


class PartForm(ThingForm):
    acquired_on = DayField(label=_("Bought or made on"))
    retired_on = DayField(label=_("Retired on"), help_text=_("Empty: it is in service."))

    class Meta:
        model = Part
        fields = (
            "code",
            "part_type",
            "acquired_on",
            "made_from",
            "retired_on",
            "retired_because",
            "note",
        )
        labels = {
            "code": _("Mark on the part"),
            "part_type": _("Type"),
            "made_from": _("Made from"),
            "retired_because": _("Retired because"),
            "note": _("Note"),
        }
        widgets = {"note": area(2)}


MANY = 100


def codes_from(first: str, count: int) -> list[str]:
    """`D5-07`, 3 -> D5-07, D5-08, D5-09: the last number counts on and keeps its width.

    Raises ValueError where several are wanted and there is no number to count on.
    """
    if count == 1:
        return [first]
    found = re.fullmatch(r"(.*?)(\d+)(\D*)", first)
    if found is None:
        raise ValueError(first)
    before, digits, after = found.groups()
    return [f"{before}{int(digits) + step:0{len(digits)}d}{after}" for step in range(count)]


class NewPartsForm(EntryForm):
    """One part, or several of a type with marks that count on."""

    part_type = forms.ModelChoiceField(
        label=_("Type"),
        queryset=PartType.objects.all(),
        error_messages={"required": _("Choose the type, or add it first.")},
    )
    first = forms.CharField(
        label=_("Mark on the part"),
        max_length=60,
        help_text=_("Where several are added, the last number counts on: D5-07, D5-08 …"),
        error_messages={"required": _("Write the mark that is on the part.")},
    )
    count = forms.IntegerField(
        label=_("How many"), min_value=1, max_value=MANY, initial=1, widget=forms.NumberInput
    )
    acquired_on = DayField(label=_("Bought or made on"))
    made_from = forms.ModelChoiceField(
        label=_("Made from"),
        queryset=Part.objects.all(),
        required=False,
        help_text=_("A reamed die: the die that it was."),
    )
    note = forms.CharField(label=_("Note"), required=False, widget=area(2))

    aliases = {"code": "first"}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        first, count = self.said("first"), cleaned.get("count")
        if not first or not count:
            return cleaned
        try:
            self.codes = codes_from(first, count)
        except ValueError:
            self.add_error("first", _("Put a number in the mark that can count on, as in D5-07."))
            return cleaned
        taken = sorted(Part.objects.filter(code__in=self.codes).values_list("code", flat=True))
        if taken:
            self.add_error(
                "first",
                _("Already there: %(codes)s. Begin with another number.") % {"codes": ", ".join(taken)},
            )
        return cleaned

    def parts(self) -> list[Part]:
        value = self.cleaned_data
        return [
            Part(
                code=code,
                part_type=value["part_type"],
                acquired_on=value.get("acquired_on"),
                made_from=value.get("made_from"),
                note=self.said("note"),
            )
            for code in self.codes
        ]


class CropForm(ThingForm):
    bushel_kg = MassField(label=_("A bushel weighs"), help_text=_("Only where seed is counted in bushels."))

    class Meta:
        model = Crop
        fields = ("code", "bushel_kg", "note")
        labels = {"code": _("Crop"), "note": _("Note")}
        help_texts = {"code": _("One word without spaces.")}
        widgets = {"note": area(2)}

    def clean_code(self) -> str:
        code = str(self.cleaned_data["code"]).strip()
        if " " in code:
            raise forms.ValidationError(_("Write it as one word: a hyphen may stand where a space would."))
        old = self.initial.get("code")
        if old and code != old:
            # Part types name crops by their tag, which no foreign key carries along.
            naming = [kind.code for kind in PartType.objects.all() if old in kind.for_crops.split()]
            if naming:
                raise forms.ValidationError(
                    _("Part types name this crop: %(types)s. Untick it there, rename it, and tick it again.")
                    % {"types": ", ".join(naming)}
                )
        return code


class EnergyForm(ThingForm):
    class Meta:
        model = EnergySource
        fields = ("source", "kind", "isolate_at", "release_by", "verify_by")
        labels = {
            "source": _("Energy source"),
            "kind": _("Kind"),
            "isolate_at": _("Isolated at"),
            "release_by": _("What is stored is released or held by"),
            "verify_by": _("Verified by"),
        }
        help_texts = {
            "source": _("Main motor, heater circuit, feed auger, trapped pressure, stored heat, hopper …"),
            "isolate_at": _("The switch, valve or plug, and where it is."),
        }

    def _get_validation_exclusions(self) -> set[str]:
        return super()._get_validation_exclusions() - {"press"}  # type: ignore[misc,no-any-return]
