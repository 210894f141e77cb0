"""The form for a run: two numbers, and everything else collapsed."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Unpack

from django import forms
from django.forms import BoundField
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.calc import units
from wearlog.equipment.models import Press
from wearlog.logbook.entries import NewRun
from wearlog.people.fields import Quantity, quantity_of
from wearlog.runs.models import MOST_BAG_KG, Crop, Reading, Run, SeedHow
from wearlog.web.site.fields import MassField, NumberField, Reader, pills
from wearlog.web.site.forms import EntryForm, FormArguments, new_ref
from wearlog.web.site.model_fields import of, when

if TYPE_CHECKING:
    from wearlog.people.fields import Words

METRIC_UNITS = ("kg", "bag", "t", "lb", "short_ton", "cwt", "bushel")
US_UNITS = ("lb", "bag", "short_ton", "cwt", "bushel", "kg", "t")


def unit_choices(reader: Reader) -> list[tuple[str, str]]:
    order = US_UNITS if units.is_us(reader.system) else METRIC_UNITS
    return [(code, units.unit_word(code)) for code in order]


HOW = [
    (SeedHow.WEIGHED.value, _("weighed")),
    (SeedHow.ABOUT.value, _("about")),
    (SeedHow.WORKED_OUT.value, _("don't know")),
]
"""How a person knows the amount of seed. With "don't know" it is estimated, and shown before it is saved."""
BOTH = _("You wrote an amount and said that it isn't known. Empty the amount, or choose “about”.")


def chosen_unit(data: Mapping[str, object] | None) -> str:
    """The word for the unit of seed that was chosen on the page: people also write it behind the number."""
    code = str((data or {}).get("seed_unit") or "kg")
    return units.unit_word(code) if code in units.UNIT_WORDS else ""


class SeedAmount(EntryForm):
    """The second number: the amount of seed, in a unit that the person chooses."""

    seed = of(
        Run,
        "seed_kg",
        NumberField,
        required=False,
        limits=quantity_of(Run, "seed_kg").limits,
        widget=forms.TextInput(attrs={"class": "number"}),
    )
    seed_unit = forms.ChoiceField(label=_("Unit"))
    bag = MassField(label=_("One bag weighs"), most=MOST_BAG_KG)
    seed_how = of(Run, "seed_how", choices=HOW, initial=SeedHow.WEIGHED.value, widget=pills())

    aliases = {"seed_kg": "seed"}

    def __init__(
        self, data: Mapping[str, object] | None, *, reader: Reader, **more: Unpack[FormArguments]
    ) -> None:
        super().__init__(data, reader=reader, **more)
        self.field("seed_unit", forms.ChoiceField).choices = unit_choices(reader)
        self.field("seed", NumberField).behind = chosen_unit(data)

    @property
    def how(self) -> str:
        """How the amount is known: a value of SeedHow."""
        return str(self.cleaned_data.get("seed_how") or SeedHow.WEIGHED)

    def seed_kg(self, crop: Crop) -> Decimal | None:
        """The seed in kilograms; None where it is to be estimated, or after adding an error to its field."""
        amount, unit = self.cleaned_data.get("seed"), self.cleaned_data.get("seed_unit") or "kg"
        if self.how == SeedHow.WORKED_OUT:
            if amount is not None:
                self.add_error("seed", BOTH)
            return None
        if amount is None:
            if "seed" not in self.errors:
                self.add_error(
                    "seed", _("Write how much seed was pressed; 0 where it was none. Or choose “don't know”.")
                )
            return None
        bag = self.cleaned_data.get("bag")
        if unit == "bag" and not bag:
            if "bag" not in self.errors:
                self.add_error("bag", _("Write what one bag weighs."))
            return None
        try:
            return units.to_kg(
                amount, unit, bag_kg=bag, bushel_kg=crop.bushel_kg or units.bushel_kg_of(crop.code)
            )
        except units.UnitProblem as problem:
            self.add_error("seed", problem.worded(gettext))
            return None


FOLDED: tuple[tuple[str, Words, tuple[str, ...]], ...] = (
    ("when", _("Other times, meter"), ("not_read", "hours_h", "started_at", "ended_at", "new_meter")),
    ("seed", _("Lot and seed"), ("lot", "through", "dirt", "moisture_pct", "seed_oil_pct", "purge")),
    ("out", _("Oil and cake"), ("oil_kg", "cake_kg", "foots_kg", "cake_oil_pct")),
    ("machine", _("Machine"), ("head_c", "drive_hz", "gap_mm", "motor_a", "energy_kwh")),
    ("who", _("Who, and a note"), ("done_by", "note")),
)
"""The groups that are folded away: key, title, and the fields of RunForm in them."""
MEASURED = tuple(
    name
    for key, _title, names in FOLDED
    for name in names
    if key != "when" and isinstance(Run._meta.get_field(name), Quantity)
)
"""The numbers in these groups, each a field of Run; times, hours and meter are taken with care."""


class RunForm(SeedAmount):
    field_order = ("ref", "press", "crop", "meter_h", "hours_h", "seed", "seed_unit", "bag", "seed_how")

    ref = of(Run, "ref", widget=forms.HiddenInput)
    press = forms.IntegerField(widget=forms.HiddenInput)
    crop = of(
        Run,
        "crop",
        widget=pills(),
        empty_label=None,
        error_messages={"required": _("Choose the crop.")},
    )
    meter_h = of(Reading, "meter_h", required=False, widget=forms.TextInput(attrs={"class": "number"}))
    hours_h = of(Run, "hours_h", widget=forms.TextInput(attrs={"class": "number"}))
    not_read = forms.BooleanField(
        label=_("Hours not known: go by the clock"),
        required=False,
        help_text=_("Write below about when it started. The clock then tells the hours."),
    )
    started_at = when(Run, "started_at", help_text=_("Empty: worked out from the hours."))
    ended_at = when(Run, "ended_at", help_text=_("Empty: from start and hours, else just now."))
    new_meter = forms.BooleanField(label=_("This is a new hour meter; the count goes on"), required=False)
    lot = of(Run, "lot")
    through = of(Run, "through", forms.ChoiceField, widget=pills())
    dirt = of(Run, "dirt", empty=_("not said"), widget=pills())
    moisture_pct = of(Run, "moisture_pct")
    seed_oil_pct = of(Run, "seed_oil_pct")
    purge = of(Run, "purge")
    oil_kg = of(Run, "oil_kg")
    cake_kg = of(Run, "cake_kg")
    foots_kg = of(Run, "foots_kg")
    cake_oil_pct = of(Run, "cake_oil_pct")
    head_c = of(Run, "head_c")
    drive_hz = of(Run, "drive_hz")
    gap_mm = of(Run, "gap_mm")
    motor_a = of(Run, "motor_a")
    energy_kwh = of(Run, "energy_kwh")
    done_by = of(Run, "done_by")
    note = of(Run, "note")

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        crops: Sequence[Crop],
        barrels: Sequence[str],
        by_meter: bool,
        meter_help: str = "",
        bags: Mapping[int, Decimal] | None = None,
        **more: Unpack[FormArguments],
    ) -> None:
        super().__init__(data, reader=reader, **more)
        self.by_meter = by_meter
        self.fields["meter_h"].help_text = meter_help
        self.remember_bags({crop.pk: crop.code for crop in crops}, bags or {})
        self.field("crop", forms.ChoiceField).choices = [(crop.pk, crop.code) for crop in crops]
        if len(barrels) > 1:
            self.field("through", forms.ChoiceField).choices = [
                ("", _("all")),
                *((barrel, barrel) for barrel in barrels),
            ]
        else:
            del self.fields["through"]
        self.fields["ref"].initial = new_ref()

    def remember_bags(self, crops: Mapping[int, str], bags: Mapping[int, Decimal]) -> None:
        """Name the weight of a bag that was last typed for each crop, and hand it to the page's script."""
        field = self.field("bag", MassField)
        known = {pk: str(field.prepare_value(bags[pk])) for pk in crops if pk in bags}
        if known:
            field.widget.attrs["data-bags"] = json.dumps(known)
            field.help_text = gettext("Last typed: %s.") % ", ".join(
                f"{crops[pk]} {weight} {field.unit}" for pk, weight in known.items()
            )

    @property
    def starts(self) -> bool:
        """Whether the person pressed "start now" instead of entering numbers."""
        return "start" in self.data

    @property
    def first_number(self) -> BoundField:
        return self["meter_h" if self.by_meter else "hours_h"]

    def folds(self) -> list[dict[str, object]]:
        """The collapsible groups: title, fields, and whether the group must be open because of its
        content."""
        shown = {"meter_h" if self.by_meter else "hours_h"}
        groups: list[dict[str, object]] = []
        for key, title, all_names in FOLDED:
            names = tuple(name for name in all_names if name in self.fields and name not in shown)
            if key == "when" and not self.by_meter:
                names = ("meter_h", *names)
            doubted = {doubt.field for doubt in self.doubts}
            # If the meter reading is refused or questioned, the meter may be new and hours needed: show both.
            watched = (*names, "meter_h", "hours_h") if key == "when" else names
            groups.append(
                {
                    "title": title,
                    "fields": [self[name] for name in names],
                    "open": any(name in self.errors or name in doubted for name in watched)
                    or (self.is_bound and any(name in self.changed_data for name in names))
                    or (key == "when" and self.by_meter and self.initial.get("hours_h") is not None),
                }
            )
        return groups

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        crop = cleaned.get("crop")
        if self.starts or crop is None:
            return cleaned
        numbered = [name for name in ("meter_h", "hours_h") if cleaned.get(name) is not None]
        if cleaned.get("not_read"):
            if numbered:
                self.add_error(
                    numbered[0],
                    _("You wrote hours and said that nobody knows them. Empty them, or untick that."),
                )
            elif cleaned.get("started_at") is None and "started_at" not in self.errors:
                self.add_error(
                    "started_at", _("Write about when it started, for the clock to tell the hours.")
                )
        elif (
            cleaned.get("meter_h") is None
            and cleaned.get("hours_h") is None
            and not (cleaned.get("started_at") and cleaned.get("ended_at"))
            and not {"meter_h", "hours_h", "started_at", "ended_at"} & set(self.errors)
        ):
            self.add_error(
                "meter_h" if self.by_meter else "hours_h",
                _(
                    "Write what the hour meter shows, or the hours pressed. "
                    "Where nobody knows, tick “Hours not known” below."
                ),
            )
        cleaned["seed_kg"] = self.seed_kg(crop)
        return cleaned

    def entry(self, *, press: Press, now: datetime, by_name: str) -> NewRun:
        """The entry for the logbook. Without numbers ("start now") the run is still going on."""
        value = self.cleaned_data
        measured: dict[str, Decimal | None] = {name: value.get(name) for name in MEASURED}
        going_on = NewRun(
            press_id=press.pk,
            crop_id=value["crop"].pk,
            seed_kg=Decimal(0),
            started_at=self.at_or("started_at", now),
            ended_at=None,
            new_meter=False,
            ref=self.text_of("ref"),
            lot=self.text_of("lot"),
            through=self.text_of("through"),
            dirt=self.text_of("dirt"),
            purge=bool(value.get("purge")),
            done_by=self.text_of("done_by") or by_name,
            note=self.text_of("note"),
            seed_how="",
            **measured,
        )
        if self.starts:
            return going_on
        started_at, hours_h, meter_h = (value.get(name) for name in ("started_at", "hours_h", "meter_h"))
        # Start and hours determine the end; otherwise an omitted end means that the run ended just now.
        end_is_known = started_at is not None and hours_h is not None and meter_h is None
        return replace(
            going_on,
            seed_kg=value["seed_kg"],
            seed_how=self.how,
            started_at=started_at,
            ended_at=value.get("ended_at") if end_is_known else self.at_or("ended_at", now),
            hours_h=hours_h,
            meter_h=meter_h,
            new_meter=bool(value.get("new_meter")),
        )


class RunStopForm(SeedAmount):
    """The numbers of a run that was started before."""

    field_order = ("meter_h", "hours_h", "seed", "seed_unit", "bag", "seed_how")

    meter_h = of(Reading, "meter_h", required=False, widget=forms.TextInput(attrs={"class": "number"}))
    hours_h = of(Run, "hours_h", help_text=_("Empty: from the meter, else from the clock."))
    ended_at = when(Run, "ended_at")
    oil_kg = of(Run, "oil_kg")

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        crop: Crop,
        by_meter: bool,
        meter_help: str = "",
        **more: Unpack[FormArguments],
    ) -> None:
        super().__init__(data, reader=reader, **more)
        self.fields["meter_h"].help_text = meter_help
        self.crop = crop
        self.by_meter = by_meter

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        cleaned["seed_kg"] = self.seed_kg(self.crop)
        return cleaned

    def folded(self) -> list[BoundField]:
        names = ["hours_h", "ended_at", "oil_kg"] if self.by_meter else ["meter_h", "ended_at", "oil_kg"]
        return [self[name] for name in names]

    @property
    def first_number(self) -> BoundField:
        return self["meter_h" if self.by_meter else "hours_h"]
