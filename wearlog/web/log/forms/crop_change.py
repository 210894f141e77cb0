"""The form for a change of the crop: the die, the purge, the cleaning and the signature together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Unpack

from django import forms
from django.forms import BoundField
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Press
from wearlog.logbook.entries import NewCropChange, NewWork
from wearlog.runs.models import Crop
from wearlog.service.models import CropChange, Service
from wearlog.service.work import Action
from wearlog.web.log import dies
from wearlog.web.site.fields import Reader, pills
from wearlog.web.site.forms import EntryForm, FormArguments, new_ref
from wearlog.web.site.known import PlaceNow
from wearlog.web.site.model_fields import of, when
from wearlog.words.kinds import named


@dataclass(frozen=True)
class DiePlace:
    """A place with a die, and the edges that could work there."""

    place: PlaceNow
    choices: Sequence[dies.EdgeChoice]

    @property
    def name(self) -> str:
        return f"die_{self.place.position.pk}"


@dataclass(frozen=True)
class Option:
    """A choice of a die as the page shows it; `words` say what is left on it with the crop."""

    id: str
    choice: dies.EdgeChoice
    words: str
    checked: bool


@dataclass(frozen=True)
class DieField:
    """The question for a die: the choices that stand at once, and those that are folded away."""

    field: BoundField
    first: list[Option]
    more: list[Option]

    @property
    def more_open(self) -> bool:
        return any(option.checked for option in self.more)


class CropChangeForm(EntryForm):
    """What a person states, that the press is cleaned and a screw looked at, is never ticked beforehand."""

    ref = of(Service, "ref", widget=forms.HiddenInput)
    press = forms.IntegerField(widget=forms.HiddenInput)
    asks = forms.CharField(widget=forms.HiddenInput, initial="cleaned", required=False)
    from_crop = of(CropChange, "from_crop")
    to_crop = of(
        CropChange,
        "to_crop",
        widget=pills(),
        empty_label=None,
        error_messages={"required": _("Choose the crop that comes next.")},
    )
    purge_kg = of(CropChange, "purge_kg")
    purge_h = of(CropChange, "purge_h")
    cleaned = forms.BooleanField(label=_("Barrel, head and trough are cleaned"), required=False)
    finding = of(Service, "finding", label=_("What was cleaned, and how it looked"))
    signed_by = of(
        CropChange,
        "signed_by",
        error_messages={"required": _("Write the name of the person who cleaned and signs for it.")},
    )
    done_at = when(Service, "done_at")
    note = of(Service, "note")

    aliases = {"moved_at": "done_at"}

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        crops: Sequence[Crop],
        all_crops: Sequence[Crop],
        proposed: Crop | None,
        die_places: Sequence[DiePlace],
        screws: Sequence[PlaceNow],
        **more: Unpack[FormArguments],
    ) -> None:
        super().__init__(data, reader=reader, **more)
        self.crops = {str(crop.pk): crop for crop in crops}
        self.proposed = proposed
        self.die_places = die_places
        self.screws = screws
        self.fields["ref"].initial = new_ref()
        to_crop = self.field("to_crop", forms.ChoiceField)
        to_crop.choices = [(crop.pk, crop.code) for crop in crops]
        to_crop.initial = proposed.pk if proposed else None
        from_crop = self.field("from_crop", forms.ChoiceField)
        from_crop.choices = [("", "—"), *((crop.pk, crop.code) for crop in all_crops)]
        for each in die_places:
            choices = [(choice.value, choice.name) for choice in each.choices]
            typed = self.text_typed(each.name)
            if typed and typed not in {value for value, _name in choices}:
                choices.append(
                    (typed, typed)
                )  # it went on in the meantime; the action says what became of it
            words = each.place.label
            label = gettext("Die") if len(die_places) == 1 else words[:1].upper() + words[1:]
            self.fields[each.name] = forms.ChoiceField(
                label=label,
                choices=choices,
                widget=pills(),
                initial=dies.proposed(each.choices, proposed),
                required=False,
            )
        for place in (*(each.place for each in die_places), *screws):
            pk = place.position.pk
            self.fields[f"fitting_{pk}"] = forms.IntegerField(
                widget=forms.HiddenInput,
                required=False,
                initial=place.fitting.pk if place.fitting else None,
            )
        for place in screws:
            words = named(place.label, place.fitted)
            self.fields[f"inspected_{place.position.pk}"] = forms.BooleanField(
                label=gettext("%s is looked at") % (words[:1].upper() + words[1:]), required=False
            )

    def text_typed(self, name: str) -> str:
        return str(self.data.get(name) or "") if self.is_bound else ""

    def stated(self) -> list[BoundField]:
        """What the person states, each with a tick of its own."""
        return [self["cleaned"], *(self[f"inspected_{place.position.pk}"] for place in self.screws)]

    def seen_fittings(self) -> list[BoundField]:
        """What sat at each place when the page was opened."""
        return [self[name] for name in self.fields if name.startswith("fitting_")]

    def folded(self) -> list[BoundField]:
        return [self[name] for name in ("from_crop", "finding", "note")]

    @property
    def folded_open(self) -> bool:
        return any(field.errors for field in self.folded()) or (
            self.is_bound and any(self.data.get(name) for name in ("finding", "note"))
        )

    def die_fields(self) -> list[DieField]:
        """Each place with its choices, in the order for the crop that was typed or else proposed."""
        crop = self.crops.get(self.text_typed("to_crop"), self.proposed)
        return [self._die_field(each, crop) for each in self.die_places]

    def _die_field(self, each: DiePlace, crop: Crop | None) -> DieField:
        field = self[each.name]
        first, more = dies.ordered(each.choices, crop)
        options = [
            Option(
                id=f"{field.auto_id}_{number}",
                choice=choice,
                words=choice.by_crop[crop.pk].words if crop else "",
                checked=choice.value == field.value(),
            )
            for number, choice in enumerate((*first, *more))
        ]
        return DieField(field, options[: len(first)], options[len(first) :])

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        if cleaned.get("from_crop") and cleaned["from_crop"] == cleaned.get("to_crop"):
            self.add_error("to_crop", _("This is the crop that it comes from. Choose the next one."))
        # A form from before this question was asked, that lay on a phone, is signed as it was.
        if cleaned.get("asks") and not cleaned.get("cleaned"):
            self.add_error(
                "cleaned", _("Tick that the press is cleaned. If it is not, clean it before you sign.")
            )
        if cleaned.get("asks"):
            for each in self.die_places:
                if each.choices and not cleaned.get(each.name) and each.name not in self.errors:
                    self.add_error(each.name, _("Choose the die, or that the one that is on stays."))
        return cleaned

    def works(self, done_at: datetime) -> tuple[NewWork, ...]:
        """The other work of the stop: what became of each die, and the screws that were looked at."""
        found = []
        for each in self.die_places:
            work = self._move(each, done_at)
            if work is not None:
                found.append(work)
        for place in self.screws:
            if self.cleaned_data.get(f"inspected_{place.position.pk}"):
                found.append(self._work(place, Action.INSPECT, done_at))
        return tuple(found)

    def _move(self, each: DiePlace, done_at: datetime) -> NewWork | None:
        chosen = self.text_of(each.name)
        if chosen in ("", dies.KEEP):
            return None
        if chosen.startswith(dies.TURN):
            return self._work(each.place, Action.FLIP, done_at, to_edge=chosen.removeprefix(dies.TURN))
        part, _colon, edge = chosen.partition(":")
        if not part.isdecimal():
            return None
        return self._work(each.place, Action.REPLACE, done_at, new_part_id=int(part), new_edge=edge)

    def _work(
        self,
        place: PlaceNow,
        action: Action,
        done_at: datetime,
        *,
        to_edge: str = "",
        new_part_id: int | None = None,
        new_edge: str = "",
    ) -> NewWork:
        fitting = self.cleaned_data.get(f"fitting_{place.position.pk}")
        return NewWork(
            press_id=self.cleaned_data["press"],
            action=action.value,
            done_at=done_at,
            position_id=place.position.pk,
            expected_fitting_id=fitting,
            to_edge=to_edge,
            new_part_id=new_part_id,
            new_edge=new_edge,
            done_by=self.text_of("signed_by"),
        )

    def entry(self, *, press: Press, now: datetime) -> NewCropChange:
        value, done_at = self.cleaned_data, self.at_or("done_at", now)
        return NewCropChange(
            press_id=press.pk,
            done_at=done_at,
            to_crop_id=value["to_crop"].pk,
            signed_by=self.text_of("signed_by"),
            from_crop_id=value["from_crop"].pk if value.get("from_crop") else None,
            purge_kg=value.get("purge_kg"),
            purge_h=value.get("purge_h"),
            finding=self.text_of("finding"),
            note=self.text_of("note"),
            ref=self.text_of("ref"),
            works=self.works(done_at),
        )
