"""The base views of forms: load, validate, call one domain action, then redirect or show the form again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime
from typing import ClassVar, Generic, TypeVar, cast
from urllib.parse import urlencode

from django.apps import apps
from django.contrib import messages
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db.models import Model
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views import View

from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import cached_items, items_without_cautions
from wearlog.logbook import actions
from wearlog.people.cleaning import say_taken
from wearlog.people.models import LogRecord
from wearlog.people.refusals import AlreadyMoved, Doubtful, NotAllowed, Refused
from wearlog.people.roles import Permission
from wearlog.reminders import typing_up
from wearlog.service.photos import NotKept
from wearlog.service.validation import LARGE_STEP
from wearlog.web.site import queued
from wearlog.web.site.access import MillRequest, mark_kept_offline, needs
from wearlog.web.site.fields import Reader
from wearlog.web.site.forms import UnitsForm
from wearlog.web.site.records import kind_of


def reader_of(request: MillRequest) -> Reader:
    return Reader(system=str(request.units), zone=request.mill.zone)


def today(request: MillRequest) -> date:
    """Today's date in the mill's time zone."""
    return timezone.now().astimezone(reader_of(request).zone).date()


def number_in(request: MillRequest, name: str) -> int | None:
    """An integer from the query or the form, or None where it is missing or invalid."""
    text = request.POST.get(name) or request.GET.get(name) or ""
    return int(text) if text.isdecimal() and len(text) < 19 else None


def with_query(name: str, **query: object) -> str:
    """The URL of a page with known values in its query: `with_query("web:work-new", press=1)`."""
    known = {key: value for key, value in query.items() if value not in (None, "")}
    return reverse(name) + (f"?{urlencode(known)}" if known else "")


class NothingToShow(Exception):
    """The page can't be shown as requested; `answer` is the response to send instead."""

    def __init__(self, answer: HttpResponse) -> None:
        super().__init__()
        self.answer = answer


Form = TypeVar("Form", bound=UnitsForm)
Record = TypeVar("Record")
"""The type of the domain action's result: a record of the log, several, or something else that was made."""


class FormPage(View, Generic[Form, Record]):
    """One form and one domain action, which returns a record. Subclasses load in `prepare`, build the form in
    `form` and call the action in `act`."""

    template_name: ClassVar[str]
    #: The model whose `ref` the page creates, so that submitting the page twice makes one entry.
    replays: ClassVar[type[LogRecord] | None] = None
    request: MillRequest

    @classmethod
    def as_page(cls, permission: Permission) -> Callable[..., HttpResponseBase]:
        """The view, decorated with the permission needed to open it and to write."""
        return needs(permission)(cast("Callable[..., HttpResponse]", cls.as_view()))

    def prepare(self) -> None:
        """Load the page's records, from the URL or the form. May raise Http404, NothingToShow."""

    def form(self, data: QueryDict | None) -> Form:
        raise NotImplementedError

    def context(self) -> dict[str, object]:
        return {}

    def act(self, form: Form, now: datetime) -> Record:
        raise NotImplementedError

    def done(self, record: Record) -> HttpResponse:
        raise NotImplementedError

    def already_there(self, form: Form, refused: Refused) -> Record | None:
        """After a double submit, the record that the first one made, or None.

        Where a time was left empty, "now" differs between the two; given the first one's time, the action
        recognises the same entry. An entry that was changed in between stays refused.
        """
        if refused.field != "ref" or self.replays is None:
            return None
        first = self.replays._default_manager.filter(**{"ref": form.cleaned_data["ref"]}).first()
        if first is None or first.entered_at is None:
            return None
        try:
            return self.act(form, first.entered_at)
        except (Refused, Doubtful, ValidationError):
            return None

    def lead_to_what_stands(self, form: Form, refused: Refused) -> None:
        """Add a message with a link to the record that was stored before under the same key."""
        if refused.field != "ref" or self.replays is None or queued.is_queued(self.request):
            return
        stands = self.replays._default_manager.filter(**{"ref": form.data.get("ref")}).first()
        if stands is not None:
            page = reverse("web:record", kwargs={"kind": kind_of(stands), "pk": stands.pk})
            messages.info(self.request, format_html('<a href="{}">{}</a>', page, _("The record that stands")))

    @property
    def reader(self) -> Reader:
        return reader_of(self.request)

    def get(self, request: MillRequest, **kwargs: object) -> HttpResponse:
        try:
            self.prepare()
        except NothingToShow as nothing:
            return nothing.answer
        return self.show(self.form(None))

    def post(self, request: MillRequest, **kwargs: object) -> HttpResponse:
        try:
            self.prepare()
        except NothingToShow as nothing:
            return nothing.answer
        form = self.form(request.POST)
        form.files = request.FILES
        if queued.is_sent_later(request):
            form.not_asked = (LARGE_STEP,)  # stored as it was typed; the part's page shows it
        if not form.is_valid():
            return self.show(form, status=422)
        try:
            record = self.act(form, timezone.now())
        except Doubtful as doubtful:
            form.ask(doubtful.doubts)
            return self.show(form)
        except NotAllowed:
            raise
        except AlreadyMoved as moved:
            form.refuse(moved)
            return self.show(form, status=409)
        except Refused as refused:
            existing = self.already_there(form, refused)
            if existing is None:
                form.refuse(refused)
                self.lead_to_what_stands(form, refused)
                return self.show(form, status=422)
            record = existing
        except ValidationError as invalid:
            add_validation(form, invalid)
            return self.show(form, status=422)
        self.keep_photos(form, record)
        return self.done(record)

    def keep_photos(self, form: Form, record: Record) -> None:
        """Store the photos of the form. The entry is already saved, and is not lost if a photo is."""
        pictures = form.cleaned_data.get("photo")
        if not pictures or not isinstance(record, LogRecord):
            return
        try:
            actions.keep_photos(by=self.request.user, at=timezone.now(), record=record, pictures=pictures)
        except NotKept as lost:
            messages.error(
                self.request,
                _(
                    "The entry is saved, but its photo is not: the disk of this machine would not take it "
                    "(%(reason)s). Have room made there, then add the photo on the page of the entry."
                )
                % {"reason": lost},
            )
        except Refused as refused:
            messages.error(
                self.request,
                _("The entry is saved, but its photo is not. %(why)s") % {"why": refused.message},
            )

    def show(self, form: Form, status: int = 200) -> HttpResponse:
        if queued.is_queued(self.request):
            return queued.problem_of(form, status)
        took = self.request.POST.get(queued.NAME_FIELD, "")
        context = {"form": form, "took": took, **self.context()}
        return render(self.request, self.template_name, context, status=status)


def add_validation(form: UnitsForm, invalid: ValidationError) -> None:
    """Add a model's validation errors to the form's fields of the same name, else to the form, by the name
    that people know."""
    say_taken(invalid)
    if not hasattr(invalid, "error_dict"):
        form.add_error(None, invalid)
        return
    for name, errors in invalid.message_dict.items():
        asked = form.aliases.get(name, name)
        for text in errors:
            if asked in form.fields:
                form.add_error(asked, text)
            else:
                form.add_error(None, text if name == NON_FIELD_ERRORS else f"{label_of(name)}: {text}")


def label_of(name: str) -> str:
    """What people call a field that a form does not ask for; of several of that name, the first."""
    for model in apps.get_models():
        if model.__module__.startswith("wearlog."):
            for field in model._meta.concrete_fields:
                if field.name == name:
                    return str(field.verbose_name)
    return name.replace("_", " ")


class EntryPage(FormPage[Form, Record]):
    """A new entry of the log. Afterwards the day page says what was saved and what became due by it."""

    def dispatch(self, request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        if queued.is_queued(self.request):
            return queued.answered(self.request, lambda: self.post(self.request, **kwargs))
        if queued.is_named(self.request):
            return queued.write_once(
                self.request, lambda: super(EntryPage, self).dispatch(request, *args, **kwargs)
            )
        return mark_kept_offline(request, super().dispatch(request, *args, **kwargs))

    def post(self, request: MillRequest, **kwargs: object) -> HttpResponse:
        self.remember_due()
        return super().post(request, **kwargs)

    def remember_due(self) -> None:
        """Store what was due before the entry, at the presses where that is known, so that `after` can say
        what became due by it."""
        before = cached_items(as_of=today(self.request))
        items = [item for of_press in before.values() for item in of_press]
        self.due_before = (sorted(before), sorted(pressing(items))) if before else None

    def saved(self, text: str, record: Model) -> None:
        """Add a message about what was saved, with a link to correct it."""
        correct = reverse("web:correct", kwargs={"kind": kind_of(record), "pk": record.pk})
        messages.success(
            self.request,
            format_html('{} <a href="{}">{}</a>', text, correct, _("Correct this")),
        )

    def back(self) -> HttpResponse:
        """Redirect to where the person came from (`next`), else to the day page.

        In between, `after` computes what became due, so that saving does not have to wait for it.
        """
        self.request.session[DUE_BEFORE] = self.due_before
        requested = self.request.POST.get("next") or self.request.GET.get("next") or ""
        return HttpResponseRedirect(with_query("web:after", next=requested))


DUE_BEFORE = "due_before"


@needs(Permission.LOG)
def after(request: MillRequest) -> HttpResponse:
    """The step between an entry and the next page: add a message on how much became due, and redirect."""
    new = 0
    match request.session.get(DUE_BEFORE):
        case [list(presses), list(before)]:
            items = items_without_cautions(as_of=today(request), press_ids=presses)
            new = len(pressing(items) - set(before))
    if new:
        messages.warning(
            request,
            ngettext(
                "With this, one thing became due. It stands below.",
                "With this, %(number)s things became due. They stand below.",
                new,
            )
            % {"number": new},
        )
    held = typing_up.held_for(request.user, at=timezone.now())
    if held is not None:
        messages.info(
            request,
            format_html(
                '{} <a href="{}">{}</a>',
                _("Mail about what became overdue in the past waits until you are done typing it up."),
                reverse("web:typed-up"),
                _("Done typing up"),
            ),
        )
    return back_to(request, reverse("web:day"))


def back_to(request: MillRequest, otherwise: str) -> HttpResponse:
    target = request.POST.get("next") or request.GET.get("next") or ""
    if url_has_allowed_host_and_scheme(target, {request.get_host()}, require_https=request.is_secure()):
        return HttpResponseRedirect(target)
    return HttpResponseRedirect(otherwise)


def pressing(items: Sequence[DueItem]) -> set[str]:
    """A key for each thing and cycle that is due or overdue."""
    return {
        f"{item.rule_id}.{item.press_id}.{item.position_id}.{item.part_id}.{item.edge}.{item.cycle}"
        for item in items
        if item.state in ("due", "overdue")
    }
