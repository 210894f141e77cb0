"""The web hook's address."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from wearlog.web.site.forms import EntryForm


class WebhookForm(EntryForm):
    url = forms.CharField(
        label=_("Web address"),
        max_length=500,
        help_text=_("As in https://hooks.mill.example/wearlog; its host must be on the list above."),
        widget=forms.TextInput(attrs={"inputmode": "url", "autocomplete": "off", "spellcheck": "false"}),
        error_messages={"required": _("Write the address that takes the messages.")},
    )
    is_on = forms.BooleanField(label=_("Send reminders there"), required=False)
