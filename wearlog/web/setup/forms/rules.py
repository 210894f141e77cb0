"""Forms for service rules, the season plan and prices."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Kind, Position
from wearlog.runs.models import Crop, PlanEntry, Price
from wearlog.service.models import IncidentKind, Rule
from wearlog.service.triggers import field_of
from wearlog.web.setup.forms.things import TagsField, ThingForm, text_area
from wearlog.web.site.fields import NumberField, Reader
from wearlog.web.site.model_fields import Described, of

if TYPE_CHECKING:
    from wearlog.people.fields import Words


class RuleForm(ThingForm[Rule]):
    after_incident = of(Rule, "after_incident", TagsField, choices=IncidentKind.choices)
    position = of(Rule, "position", forms.ChoiceField)

    class Meta(Described):
        model = Rule
        fields = (
            "code",
            "action",
            "kind",
            "part_type",
            "press",
            "position",
            *Rule.TRIGGERS,
            "lead_days",
            "instructions",
        )
        widgets = {"instructions": text_area(4)}

    def shape(self) -> None:
        names = sorted(
            set(Position.objects.values_list("name", flat=True))
            | {str(getattr(self.instance, "position", ""))}
        )
        self.field("position", forms.ChoiceField).choices = [
            ("", _("any")),
            *((name, name) for name in names if name),
        ]
        for name, words in (
            ("kind", _("nothing: to the press as a whole")),
            ("part_type", _("any")),
            ("press", _("any")),
            *((name, _("no season")) for name in Rule.TRIGGERS if field_of(name).is_relation),
        ):
            field = self.fields[name]
            if isinstance(field, forms.ModelChoiceField):
                field.empty_label = words
            elif isinstance(field, forms.ChoiceField):
                field.choices = [("", words), *Kind.choices]

    def clean(self) -> dict[str, object]:
        cleaned = super().clean()
        if not self.errors and not any(cleaned.get(name) for name in Rule.TRIGGERS):
            self.add_error(None, _("Choose at least one trigger: after hours, seed, days, a season …"))
        if cleaned.get("at_limit") and not (cleaned.get("kind") or cleaned.get("part_type")):
            self.add_error("at_limit", _("A wear limit belongs to a part: choose a kind of part or a type."))
        return cleaned


class PlanForm(ThingForm[PlanEntry]):
    class Meta(Described):
        model = PlanEntry
        fields = ("press", "crop", "start_on", "end_on", "seed_kg")

    def clean(self) -> dict[str, object]:
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
    "minding_h": _("minding a press that runs, for an hour"),
}


def item_words(item: str) -> str:
    """The item of a price in words: `seed_kg rapeseed` is seed of that crop."""
    first, _space, crop = item.partition(" ")
    if first == "seed_kg" and crop:
        return gettext("seed of %(crop)s, for a kilogram") % {"crop": crop}
    return str(ITEMS.get(item, item))


class PriceForm(ThingForm[Price]):
    item = of(Price, "item", forms.ChoiceField)

    class Meta(Described):
        model = Price
        fields = ("item", "from_on", "price")

    def __init__(
        self,
        data: Mapping[str, object] | None = None,
        *,
        reader: Reader,
        instance: Price | None = None,
        currency: str = "",
    ) -> None:
        super().__init__(data, reader=reader, instance=instance)
        self.field("price", NumberField).unit = currency
        known: dict[str, Words] = dict(ITEMS)
        for crop in Crop.objects.order_by("code"):
            known[f"seed_kg {crop.code}"] = item_words(f"seed_kg {crop.code}")
        item = str(getattr(self.instance, "item", ""))
        if item and item not in known:
            known[item] = item_words(item)
        self.field("item", forms.ChoiceField).choices = list(known.items())
