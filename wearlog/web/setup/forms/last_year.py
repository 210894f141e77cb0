"""Which campaigns of the last year become the plan of the next."""

from __future__ import annotations

from collections.abc import Mapping

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _


class CampaignsForm(forms.Form):
    """names: the words of each campaign by its key."""

    campaigns = forms.MultipleChoiceField(
        error_messages={
            "required": _("Tick at least one campaign."),
            "invalid_choice": _("The plan has changed meanwhile: look at it again."),
        }
    )

    def __init__(self, data: QueryDict | None, *, names: Mapping[str, str]) -> None:
        super().__init__(data)
        field = self.fields["campaigns"]
        assert isinstance(field, forms.MultipleChoiceField)
        field.choices = list(names.items())
