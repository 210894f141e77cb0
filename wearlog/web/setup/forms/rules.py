"""When work is due, what is to be pressed, and what things are worth."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.db import models
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Kind, Position
from wearlog.runs.models import Crop, PlanEntry, Price
from wearlog.service.models import TRIGGER_COLUMNS, IncidentKind, Rule
from wearlog.service.triggers import Asks, TriggerColumn
from wearlog.web.setup.forms.things import TagsField, ThingForm, area
from wearlog.web.site.fields import MOST, DayField, HoursField, MassField, NumberField

TRIGGERS = {column.name: column for column in TRIGGER_COLUMNS}


def trigger_field(column: TriggerColumn, field: models.Field[Any, Any]) -> forms.Field | None:
    """The field of a form that asks for a trigger. A crop or a yes is asked for as its model field says."""
    most = MOST if column.most is None else column.most
    if column.asks is Asks.HOURS:
        return HoursField(label=column.label, most=most)
    if column.asks is Asks.SEED:
        return MassField(label=column.label, most=most)
    if column.asks is Asks.NUMBER:
        return NumberField(label=column.label, unit=column.unit, most=most)
    if column.asks is Asks.INCIDENTS:
        return TagsField(label=column.label, choices=IncidentKind.choices)
    return field.formfield(label=column.label)


def rule_field(field: models.Field[Any, Any], **words: Any) -> forms.Field | None:
    """The field of the rule form for one of the rule's."""
    column = TRIGGERS.get(field.name)
    return field.formfield(**words) if column is None else trigger_field(column, field)


class RuleForm(ThingForm):
    lead_days = NumberField(label=_("Say so ahead"), unit=_("days"), most=3650)
    position = forms.ChoiceField(label=_("Only on the position"), required=False)

    class Meta:
        model = Rule
        fields = (
            "code",
            "action",
            "kind",
            "part_type",
            "press",
            "position",
            *TRIGGERS,
            "lead_days",
            "instructions",
        )
        labels = {
            "code": _("Name of the rule"),
            "action": _("What is to be done"),
            "kind": _("To every fitted"),
            "part_type": _("Only to the type"),
            "press": _("Only on the press"),
            "instructions": _("How it is done here"),
        }
        widgets = {"instructions": area(4)}
        formfield_callback = rule_field

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        names = sorted(
            set(Position.objects.values_list("name", flat=True))
            | {str(getattr(self.instance, "position", ""))}
        )
        self.fields["position"].choices = [("", _("any"))] + [  # type: ignore[attr-defined]
            (name, name) for name in names if name
        ]
        for name, words in (
            ("kind", _("nothing: to the press as a whole")),
            ("part_type", _("any")),
            ("press", _("any")),
            *((name, _("no season")) for name, column in TRIGGERS.items() if column.asks is Asks.CROP),
        ):
            field = self.fields[name]
            if isinstance(field, forms.ModelChoiceField):
                field.empty_label = words
            else:
                field.choices = [("", words), *Kind.choices]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not self.errors and not any(cleaned.get(name) for name in TRIGGERS):
            self.add_error(None, _("Choose at least one trigger: after hours, seed, days, a season …"))
        if cleaned.get("at_limit") and not (cleaned.get("kind") or cleaned.get("part_type")):
            self.add_error("at_limit", _("A wear limit belongs to a part: choose a kind of part or a type."))
        return cleaned


class PlanForm(ThingForm):
    start_on = DayField(label=_("From"), required=True)
    end_on = DayField(label=_("Until"), required=True)
    seed_kg = MassField(label=_("Seed"), required=True)

    class Meta:
        model = PlanEntry
        fields = ("press", "crop", "start_on", "end_on", "seed_kg")
        labels = {"press": _("Press"), "crop": _("Crop")}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        start, end = cleaned.get("start_on"), cleaned.get("end_on")
        if isinstance(start, date) and isinstance(end, date) and end < start:
            self.add_error("end_on", _("This is before the first day. Write a day on or after it."))
        return cleaned


ITEMS = {
    "oil_kg": _("oil, for a kilogram"),
    "cake_kg": _("cake, for a kilogram"),
    "labour_h": _("labour, for an hour"),
    "energy_kwh": _("energy, for a kilowatt-hour"),
    "stand_still_h": _("a press that stands still, for an hour"),
}


def item_words(item: str) -> str:
    """What a price is for, in words: `seed_kg rapeseed` is seed of that crop."""
    first, _space, crop = item.partition(" ")
    if first == "seed_kg" and crop:
        return gettext("seed of %(crop)s, for a kilogram") % {"crop": crop}
    return str(ITEMS.get(item, item))


class PriceForm(ThingForm):
    item = forms.ChoiceField(label=_("What"))
    from_on = DayField(label=_("From"), required=True)
    price = NumberField(label=_("Price"), required=True)

    class Meta:
        model = Price
        fields = ("item", "from_on", "price")

    def __init__(self, *args: Any, currency: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["price"].unit = currency  # type: ignore[attr-defined]
        known: dict[str, Any] = dict(ITEMS)
        for crop in Crop.objects.order_by("code"):
            known[f"seed_kg {crop.code}"] = item_words(f"seed_kg {crop.code}")
        item = str(getattr(self.instance, "item", ""))
        if item and item not in known:
            known[item] = item_words(item)
        self.fields["item"].choices = list(known.items())  # type: ignore[attr-defined]
