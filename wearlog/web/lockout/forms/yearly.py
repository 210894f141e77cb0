"""The form for a yearly inspection or instruction: which presses, when, by whom and with whom."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Unpack

from django import forms
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Press
from wearlog.lockout.models import Yearly
from wearlog.people.models import Role, User
from wearlog.service.models import Service
from wearlog.web.site.fields import Reader
from wearlog.web.site.forms import EntryForm, FormArguments
from wearlog.web.site.model_fields import of, when


class YearlyForm(EntryForm):
    presses = forms.ModelMultipleChoiceField(
        label=_("Presses"), queryset=Press.objects.none(), widget=forms.CheckboxSelectMultiple, required=False
    )
    people = forms.ModelMultipleChoiceField(
        label=_("People"), queryset=User.objects.none(), widget=forms.CheckboxSelectMultiple, required=False
    )
    others = forms.CharField(
        label=_("People without an account"), max_length=255, required=False, help_text=_("By name.")
    )
    looked_by = forms.CharField(label=_("Who looked"), max_length=120)
    finding = of(Service, "finding", label=_("What was found, and what is to be mended"))
    done_at = when(Service, "done_at", help_text=_("Left open: now."))

    def __init__(
        self, data: Mapping[str, object] | None, *, reader: Reader, kind: str, **more: Unpack[FormArguments]
    ) -> None:
        self.kind = kind
        super().__init__(data, reader=reader, **more)

    def take_reader(self, reader: Reader) -> None:
        people = User.objects.filter(is_active=True).exclude(role=Role.VIEWER).order_by("name", "username")
        self.field("people", forms.ModelChoiceField).queryset = people
        presses = Press.objects.filter(retired_on__isnull=True).order_by("code")
        self.field("presses", forms.ModelChoiceField).queryset = presses
        if self.kind == Yearly.INSTRUCTION:
            del self.fields["others"]
            self.fields["looked_by"].label = _("Who instructed")
            self.fields["people"].label = _("Who was instructed")
        else:
            self.fields["people"].label = _("Who uses the procedure and was there")
        super().take_reader(reader)
