"""The web hook's address."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from wearlog.reminders.models import Webhook
from wearlog.web.site.forms import EntryForm
from wearlog.web.site.model_fields import of


class WebhookForm(EntryForm):
    url = of(
        Webhook,
        "url",
        widget=forms.TextInput(attrs={"inputmode": "url", "autocomplete": "off", "spellcheck": "false"}),
        error_messages={"required": _("Write the address that takes the messages.")},
    )
    is_on = of(Webhook, "is_on")
