"""Pick the crops of a mill from a list."""

from __future__ import annotations

from collections.abc import Mapping

from django import forms
from django.utils.translation import gettext_lazy as _

from wearlog.runs.models import Crop
from wearlog.runs.usual_crops import not_yet
from wearlog.web.site.fields import Reader
from wearlog.web.site.forms import EntryForm


class CropPicksForm(EntryForm):
    crops = forms.MultipleChoiceField(
        label=_("Crops that you press"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Tick one at least.")},
    )

    def __init__(self, data: Mapping[str, object] | None, *, reader: Reader) -> None:
        self.new_crops = not_yet(Crop.objects.values_list("code", flat=True))
        super().__init__(data, reader=reader)
        self.field("crops", forms.MultipleChoiceField).choices = [
            (each.key, each.name) for each in self.new_crops
        ]

    def picked(self) -> list[Crop]:
        """The ticked crops, not yet saved."""
        return [each.crop() for each in self.new_crops if each.key in self.cleaned_data["crops"]]
