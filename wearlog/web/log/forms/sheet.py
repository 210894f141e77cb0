"""The forms of a sheet of runs: one line for each run, and the unit once for all of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Unpack

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.calc import units
from wearlog.equipment.models import Press
from wearlog.logbook.entries import NewRun
from wearlog.people.fields import quantity_of
from wearlog.people.refusals import Doubt
from wearlog.runs.models import MOST_BAG_KG, Crop, Reading, Run, SeedHow
from wearlog.web.log.forms.run import BOTH, HOW, chosen_unit, unit_choices
from wearlog.web.site.fields import DayField, FieldArguments, MassField, NumberField, Reader, TextArguments
from wearlog.web.site.forms import EntryForm, FormArguments, in_units_of, new_ref
from wearlog.web.site.model_fields import of

if TYPE_CHECKING:
    ModelChoiceField = forms.ModelChoiceField[Crop]
else:
    ModelChoiceField = forms.ModelChoiceField  # only the stubs make it generic

NUMBER = {"class": "number"}


class CropField(ModelChoiceField):
    """A crop out of those that the sheet has loaded for all its lines, so that no line looks its own up."""

    loaded: Sequence[Crop] = ()

    def __init__(self, **kwargs: Unpack[FieldArguments]) -> None:
        super().__init__(queryset=Crop.objects.none(), **kwargs)

    def offer(self, crops: Sequence[Crop]) -> None:
        self.loaded = crops
        self.choices = [("", "—"), *((crop.pk, crop.code) for crop in crops)]

    def to_python(self, value: object) -> Crop | None:
        if value in self.empty_values:
            return None
        found = next((crop for crop in self.loaded if str(crop.pk) == str(value)), None)
        if found is None:
            raise ValidationError(
                self.error_messages["invalid_choice"], code="invalid_choice", params={"value": value}
            )
        return found


class ClockField(forms.CharField):
    """A time of day: 18:00, 18.00, 1800 or 18."""

    def __init__(self, **kwargs: Unpack[TextArguments]) -> None:
        kwargs.setdefault("required", False)
        kwargs.setdefault("max_length", 8)
        super().__init__(**kwargs)
        self.widget.attrs.update(inputmode="numeric", autocomplete="off")

    def to_python(self, value: object) -> Any:  # Django's CharField promises text
        if isinstance(value, time) or not value:
            return value or None
        text = str(value).strip().replace(".", ":")
        if text.isdecimal():
            text = f"{text[:-2] or 0}:{text[-2:]}" if len(text) > 2 else f"{text}:00"
        try:
            hours, minutes = (int(piece) for piece in text.split(":"))
            return time(hours, minutes)
        except ValueError as error:
            raise ValidationError(
                _("“%(text)s” is not a time of day. Write it like 18:00."), params={"text": value}
            ) from error

    def validate(self, value: object) -> None:
        forms.Field.validate(self, value)

    def run_validators(self, value: object) -> None:
        """Skip the text validators, since the value is no text."""

    def prepare_value(self, value: object) -> object:
        return value.strftime("%H:%M") if isinstance(value, time) else value


class SeedField(NumberField):
    """An amount of seed as written on paper: `400`, `~400` for an approximate amount, `?` for unknown."""

    sign = ""
    """How the amount is known, where a sign says so; a value of SeedHow."""

    def to_python(self, value: object) -> Any:
        text = str(value if value is not None else "").strip()
        self.sign = ""
        if text == "?":
            self.sign = SeedHow.WORKED_OUT.value
            return None
        if text.startswith("~"):
            self.sign = SeedHow.ABOUT.value
            text = text[1:]
        return super().to_python(text)


class SheetHead(EntryForm):
    """The settings for all lines: the unit of the seed, and the weight of a bag."""

    seed_unit = forms.ChoiceField(label=gettext_lazy("Seed in"))
    bag = MassField(label=gettext_lazy("One bag weighs"), most=MOST_BAG_KG)

    def __init__(
        self, data: Mapping[str, object] | None, *, reader: Reader, **more: Unpack[FormArguments]
    ) -> None:
        super().__init__(data, reader=reader, **more)
        self.field("seed_unit", forms.ChoiceField).choices = unit_choices(reader)

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        if cleaned.get("seed_unit") == "bag" and not cleaned.get("bag") and "bag" not in self.errors:
            self.add_error("bag", _("Write what one bag weighs."))
        return cleaned


class SheetLine(EntryForm):
    """One run. A line without numbers is empty and ignored."""

    ref = of(Run, "ref", widget=forms.HiddenInput)
    day = DayField(widget=forms.HiddenInput)
    until = ClockField(label=gettext_lazy("Until"))
    crop = of(Run, "crop", CropField, required=False)
    meter_h = of(Reading, "meter_h", required=False, widget=forms.TextInput(attrs=NUMBER))
    hours_h = of(
        Run,
        "hours_h",
        label=gettext_lazy("Hours"),
        help_text="",
        widget=forms.TextInput(attrs=NUMBER),
    )
    seed = SeedField(
        label=gettext_lazy("Seed"),
        limits=quantity_of(Run, "seed_kg").limits,
        widget=forms.TextInput(attrs=NUMBER),
    )
    seed_how = of(
        Run,
        "seed_how",
        label=gettext_lazy("How known"),
        choices=HOW,
        # Enter skips this field on its way to the next line; Tab and touch reach it.
        widget=forms.Select(attrs={"data-aside": True}),
    )

    aliases = {"seed_kg": "seed", "ended_at": "until", "started_at": "until"}

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        about: Press,
        title: str,
        crops: Sequence[Crop],
        by_meter: bool,
        hint: str = "",
        **more: Unpack[FormArguments],
    ) -> None:
        super().__init__(data, reader=reader, **more)
        self.about, self.title, self.by_meter, self.hint = about, title, by_meter, hint
        self.field("crop", CropField).offer(crops)
        self.fields["ref"].initial = new_ref()
        self.field("seed", NumberField).behind = chosen_unit(data)
        del self.fields["hours_h" if by_meter else "meter_h"]
        for name in ("until", "crop", self.first_name, "seed", "seed_how"):
            self.fields[name].widget.attrs["aria-label"] = f"{self.fields[name].label}, {title}"

    @property
    def first_name(self) -> str:
        return "meter_h" if self.by_meter else "hours_h"

    @property
    def first(self) -> BoundField:
        return self[self.first_name]

    @property
    def is_empty(self) -> bool:
        """Whether neither number was entered. A line with "don't know" is not empty."""
        written = any(
            str(self.data.get(self.add_prefix(name)) or "").strip() for name in (self.first_name, "seed")
        )
        return not written and self.data.get(self.add_prefix("seed_how")) != SeedHow.WORKED_OUT

    @property
    def confirmed(self) -> list[str]:
        return self.data.getlist(self.add_prefix("confirm")) if hasattr(self.data, "getlist") else []

    def ask(self, doubts: Sequence[Doubt]) -> None:
        super().ask(
            [Doubt(doubt.code, in_units_of(self.reader, doubt.question), doubt.field) for doubt in doubts]
        )

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        if cleaned.get(self.first_name) is None and self.first_name not in self.errors:
            self.add_error(self.first_name, _("Write the hours too, or empty the line."))
        seed = self.field("seed", SeedField)
        cleaned["seed_how"] = seed.sign or cleaned.get("seed_how") or SeedHow.WEIGHED.value
        if cleaned["seed_how"] == SeedHow.WORKED_OUT:
            if cleaned.get("seed") is not None:
                self.add_error("seed", BOTH)
        elif cleaned.get("seed") is None and "seed" not in self.errors:
            self.add_error(
                "seed", _("Write the seed too (0 where it was none), choose “don't know”, or empty the line.")
            )
        if cleaned.get("crop") is None and "crop" not in self.errors:
            self.add_error("crop", _("Choose the crop."))
        day, until = cleaned.get("day"), cleaned.get("until")
        if day is not None and until is not None:
            try:
                cleaned["ended_at"] = self.instant(day, until)
            except ValidationError as problem:
                self.add_error("until", problem)
        return cleaned

    def instant(self, day: date, until: time) -> datetime:
        wall = datetime.combine(day, until)
        found = wall.replace(tzinfo=self.reader.zone).astimezone(UTC)
        if found.astimezone(self.reader.zone).replace(tzinfo=None) != wall:
            raise ValidationError(_("The clocks went forward then: that time never was."))
        return found

    def entry(self, head: SheetHead, *, now: datetime, by_name: str) -> NewRun | None:
        """The entry for the logbook; None after adding an error to the field where the unit does not fit."""
        value, unit = self.cleaned_data, head.cleaned_data["seed_unit"]
        crop: Crop = value["crop"]
        seed_kg: Decimal | None = None
        if value["seed"] is not None:
            try:
                seed_kg = units.to_kg(
                    value["seed"],
                    unit,
                    bag_kg=head.cleaned_data.get("bag"),
                    bushel_kg=crop.bushel_kg or units.bushel_kg_of(crop.code),
                )
            except units.UnitProblem as problem:
                self.add_error("seed", problem.worded(_))
                return None
        ended_at: datetime = value.get("ended_at") or now
        return NewRun(
            ref=self.text_of("ref"),
            press_id=self.about.pk,
            crop_id=crop.pk,
            seed_kg=seed_kg,
            seed_how=value["seed_how"],
            ended_at=ended_at,
            hours_h=value.get("hours_h"),
            meter_h=value.get("meter_h"),
            done_by=by_name,
        )
