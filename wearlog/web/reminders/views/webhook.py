"""The owner's page of the web hook: address, test, secret."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission
from wearlog.reminders.channels.webhook import setup as webhook_setup
from wearlog.reminders.channels.webhook.setup import Saved, the_webhook
from wearlog.web.reminders.forms.webhook import WebhookForm
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.pages import FormPage


class WebhookPage(FormPage[WebhookForm, Saved]):
    template_name = "web/reminders/webhook.html"

    def prepare(self) -> None:
        self.hook = the_webhook()

    def form(self, data: QueryDict | None) -> WebhookForm:
        known: dict[str, object] = {"is_on": True}
        if self.hook is not None:
            known = {"url": self.hook.url, "is_on": self.hook.is_on}
        return WebhookForm(data, initial=known, reader=self.reader)

    def context(self) -> dict[str, object]:
        return {"hook": self.hook, "hosts": [str(target) for target in settings.WEBHOOK_HOSTS]}

    def act(self, form: WebhookForm, now: datetime) -> Saved:
        return webhook_setup.save_webhook(
            url=form.text_of("url"), is_on=form.cleaned_data["is_on"], by=self.request.user, at=now
        )

    def done(self, record: Saved) -> HttpResponse:
        if record.secret is not None:
            return secret_page(self.request, record.secret)
        messages.success(self.request, _("Saved: %s.") % record.hook.url)
        return HttpResponseRedirect(reverse("web:webhook"))


def secret_page(request: MillRequest, secret: str) -> HttpResponse:
    answer = render(request, "web/reminders/webhook_secret.html", {"secret": secret})
    answer["Cache-Control"] = "no-store"
    return answer


@require_POST
def _try_out(request: MillRequest) -> HttpResponse:
    try:
        problem = webhook_setup.try_out(by=request.user, at=timezone.now())
    except Refused as refused:
        problem = refused.message
    if problem:
        messages.error(request, _("The test message was not taken: %s") % problem)
    else:
        messages.success(request, _("The test message was taken."))
    return HttpResponseRedirect(reverse("web:webhook"))


@never_cache
@require_POST
def _renew(request: MillRequest) -> HttpResponse:
    try:
        saved = webhook_setup.renew_secret(by=request.user, at=timezone.now())
    except Refused as refused:
        messages.error(request, refused.message)
        return HttpResponseRedirect(reverse("web:webhook"))
    return secret_page(request, saved.secret or "")


page = WebhookPage.as_page(Permission.OWN)
try_out = needs(Permission.OWN)(_try_out)
renew = needs(Permission.OWN)(_renew)
