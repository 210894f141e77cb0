"""People and their sign-in links, one's own settings, and the mill."""

from __future__ import annotations

from datetime import datetime

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from wearlog.logbook import actions
from wearlog.people import sessions, signin
from wearlog.people.models import Mill, Role, User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, allows
from wearlog.web.setup.forms.people import MeForm, MillForm, PersonForm
from wearlog.web.setup.things import Row, ThingPage, present_words
from wearlog.web.setup.views.devices import devices_of
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.pages import FormPage


@needs(Permission.OWN)
def people(request: MillRequest) -> HttpResponse:
    rows = [
        Row(
            title=str(person),
            url=reverse("web:person-edit", kwargs={"pk": person.pk}),
            words=present_words(
                Role(person.role).label,
                person.username if person.name else "",
                person.email,
                "" if person.is_active else _("may not sign in"),
            ),
            faded=not person.is_active,
        )
        for person in User.objects.order_by("-is_active", "name", "username")
    ]
    return render(
        request,
        "web/setup/list.html",
        {
            "heading": _("People"),
            "rows": rows,
            "adds": [(reverse("web:person-new"), _("Add a person"))],
            "empty": "",
            "needed": "own",
        },
    )


class PersonPage(ThingPage[PersonForm, User]):
    template_name = "web/setup/person.html"
    model = User
    form_class = PersonForm
    list_page = "web:people"
    add_words = gettext_lazy("Add a person")

    def context(self) -> dict[str, object]:
        if self.is_new:
            return super().context()
        return {
            **super().context(),
            "person": self.thing,
            "devices": devices_of(self.thing, self.request),
            "end_url": reverse("web:person-devices", kwargs={"pk": self.thing.pk}),
        }

    def act(self, form: PersonForm, now: datetime) -> User:
        user = form.save(commit=False)
        if user.pk == self.request.user.pk:
            not_oneself(user)
        return actions.save_person(by=self.request.user, at=now, user=user)

    def done(self, record: User) -> HttpResponse:
        messages.success(self.request, _("Saved: %s.") % record)
        if self.thing.pk is None or "pk" not in self.kwargs:
            return HttpResponseRedirect(reverse("web:person-edit", kwargs={"pk": record.pk}))
        return HttpResponseRedirect(self.back_url())


def not_oneself(user: User) -> None:
    """Raise Refused for a change by which owners would lock themselves out of this page."""
    if user.role != Role.OWNER:
        raise Refused(_("You can't take this from yourself. Ask another owner to do it."), field="role")
    if not user.is_active:
        raise Refused(_("You can't switch yourself off. Ask another owner to do it."), field="is_active")


@never_cache
@require_POST
def _make_link(request: MillRequest, pk: int) -> HttpResponse:
    """Make a one-time link and show it, only this once."""
    person = get_object_or_404(User, pk=pk)
    try:
        secret = signin.make_link(user=person, at=timezone.now(), by=request.user)
    except Refused as refused:
        messages.error(request, refused.message)
        return HttpResponseRedirect(reverse("web:person-edit", kwargs={"pk": pk}))
    link = request.build_absolute_uri(reverse("web:sign-in-link", kwargs={"secret": secret}))
    return render(request, "web/setup/link.html", {"person": person, "link": link})


person_link = needs(Permission.OWN)(_make_link)


class MySettings(FormPage[MeForm, User]):
    template_name = "web/setup/form.html"
    request: MillRequest

    def form(self, data: QueryDict | None) -> MeForm:
        return MeForm(
            data,
            instance=User.objects.get(pk=self.request.user.pk),
            reader=self.reader,
            fresh_from_link=sessions.is_fresh_from_link(self.request.session, at=timezone.now()),
        )

    def context(self) -> dict[str, object]:
        return {"heading": _("My settings"), "is_new": False, "back": reverse("web:day"), "lead": self.lead()}

    def lead(self) -> list[tuple[str, str]]:
        """The links above the form; viewers get no reminders, so none to reminder wishes."""
        devices = (reverse("web:my-devices"), _("Where I am signed in"))
        if not allows(self.request.user, Permission.LOG):
            return [devices]
        return [(reverse("web:my-reminders"), _("When my reminders come")), devices]

    def act(self, form: MeForm, now: datetime) -> User:
        user = form.save(commit=False)
        self.new_password = form.cleaned_data.get("new_password") or None
        return actions.save_person(by=self.request.user, at=now, user=user, password=self.new_password)

    def done(self, record: User) -> HttpResponse:
        if self.new_password is not None:
            update_session_auth_hash(self.request, record)  # all sessions have ended; start a new one here
        messages.success(self.request, _("Your settings are saved."))
        return HttpResponseRedirect(reverse("web:day"))


class MillSettings(FormPage[MillForm, Mill]):
    template_name = "web/setup/settings.html"

    def form(self, data: QueryDict | None) -> MillForm:
        return MillForm(data, instance=Mill.current(), reader=self.reader)

    def context(self) -> dict[str, object]:
        return {
            "heading": _("The mill"),
            "is_new": False,
            "back": reverse("web:day"),
            "secure": self.request.is_secure(),
        }

    def act(self, form: MillForm, now: datetime) -> Mill:
        mill: Mill = form.save(commit=False)
        return actions.save_thing(by=self.request.user, at=now, thing=mill)

    def done(self, record: Mill) -> HttpResponse:
        messages.success(self.request, _("Saved: %s.") % record)
        return HttpResponseRedirect(reverse("web:settings"))


person_new = PersonPage.as_page(Permission.OWN)
person_edit = PersonPage.as_page(Permission.OWN)
my_settings = MySettings.as_page(Permission.VIEW)
settings = MillSettings.as_page(Permission.OWN)
