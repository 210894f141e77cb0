"""The base of every set-up page: a form, one saved record, then back to its list."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from django.contrib import messages
from django.db import models
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.logbook import actions
from wearlog.people.refusals import Refused
from wearlog.web.setup.forms.things import ThingForm
from wearlog.web.site.access import MillRequest
from wearlog.web.site.history import changes_of
from wearlog.web.site.pages import FormPage, back_to

if TYPE_CHECKING:
    from wearlog.people.fields import Words


@dataclass(frozen=True)
class Row:
    """One line of a list: its name, its details, and the URL to change it."""

    title: str
    url: str = ""
    words: tuple[str, ...] = field(default=())
    way: tuple[str, str] = ("", "")
    """The address and the words of another page about it, for everybody."""
    faded: bool = False


def present_words(*words: object) -> tuple[str, ...]:
    """The non-empty words, as strings."""
    return tuple(str(word) for word in words if word not in (None, ""))


Saving = TypeVar("Saving", bound=ThingForm[Any])
Thing = TypeVar("Thing", bound=models.Model)


class ThingPage(FormPage[Saving, Thing]):
    """Add a reference record, or change the one whose primary key is in the URL."""

    template_name = "web/setup/form.html"
    model: type[Thing]
    form_class: type[Saving]
    new_form_class: type[Saving] | None = None
    list_page: ClassVar[str] = ""
    add_words: ClassVar[Words] = ""
    removable: ClassVar[bool] = False

    def prepare(self) -> None:
        pk = self.kwargs.get("pk")
        self.thing: Thing = get_object_or_404(self.model, pk=pk) if pk is not None else self.new_thing()

    def new_thing(self) -> Thing:
        return self.model()

    @property
    def is_new(self) -> bool:
        return self.thing.pk is None

    def form(self, data: QueryDict | None) -> Saving:
        made = (self.new_form_class or self.form_class) if self.is_new else self.form_class
        # The form changes a copy, so that the heading keeps the stored name.
        instance = self.model._default_manager.get(pk=self.thing.pk) if not self.is_new else self.thing
        return self.form_for(instance, made, data)

    def form_for(self, thing: Thing, made: type[Saving], data: QueryDict | None) -> Saving:
        """A form of that class; for a page whose form takes more than that."""
        return made(data, instance=thing, reader=self.reader)

    def heading(self) -> str:
        return str(self.add_words) if self.is_new else self.name_of(self.thing)

    def name_of(self, thing: Thing) -> str:
        """The thing as people call it: in headings and in what is said after saving."""
        return str(thing)

    def back_url(self) -> str:
        return reverse(self.list_page)

    def context(self) -> dict[str, object]:
        return {
            "heading": self.heading(),
            "is_new": self.is_new,
            "back": self.back_url(),
            "removable": self.removable and not self.is_new,
            "changes": [] if self.is_new else changes_of(self.thing, self.reader),
        }

    def post(self, request: MillRequest, **kwargs: object) -> HttpResponse:
        if self.removable and "remove" in request.POST:
            return self.remove(request)
        return super().post(request, **kwargs)

    def remove(self, request: MillRequest) -> HttpResponse:
        self.prepare()
        name = self.name_of(self.thing)
        try:
            self.take_away()
        except Refused as refused:
            messages.error(request, refused.message)
            return HttpResponseRedirect(request.path)
        messages.success(request, _("Removed: %s.") % name)
        return HttpResponseRedirect(self.back_url())

    def take_away(self) -> None:
        actions.remove_thing(by=self.request.user, at=timezone.now(), thing=self.thing)

    def act(self, form: Saving, now: datetime) -> Thing:
        thing: Thing = form.save(commit=False)
        return actions.save_thing(by=self.request.user, at=now, thing=thing)

    def done(self, record: Thing) -> HttpResponse:
        messages.success(self.request, _("Saved: %s.") % self.name_of(record))
        return back_to(self.request, self.back_url())
