"""Photos of the log: serving them to people who are signed in, and adding them to an existing entry."""

from __future__ import annotations

from datetime import datetime

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.logbook import actions
from wearlog.logbook.corrections import may_change
from wearlog.people.models import LogRecord
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission
from wearlog.service.models import Photo
from wearlog.service.photos import COLUMN, NotKept, path_of
from wearlog.web.log.forms.corrections import PhotoDeleteForm
from wearlog.web.log.forms.photos import PhotoForm
from wearlog.web.log.views.book import record_or_404
from wearlog.web.log.views.lines import line_of
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.pages import FormPage

KEPT_S = 60 * 60 * 24
"""How long a browser may cache a photo: it never changes, but a phone that changes hands should lose it
within a day."""


@needs(Permission.VIEW)
def photo(request: MillRequest, name: str) -> HttpResponse:
    return answer_with(name, small=False)


@needs(Permission.VIEW)
def photo_small(request: MillRequest, name: str) -> HttpResponse:
    return answer_with(name, small=True)


def answer_with(name: str, *, small: bool) -> HttpResponse:
    """The response with the file of a photo that has a row. The file name comes from the row, never from the
    URL."""
    found = get_object_or_404(Photo, name=name)
    try:
        content = path_of(found.name, small=small).read_bytes()
    except OSError as error:
        raise Http404(_("The file of this photo is not there. Have it restored from a backup.")) from error
    response = HttpResponse(content, content_type="image/jpeg")
    taken = timezone.localtime(found.entered_at).strftime("%Y-%m-%d")
    response["Content-Disposition"] = f'inline; filename="photo-{taken}-{found.name[:8]}.jpg"'
    response["X-Content-Type-Options"] = "nosniff"
    response["Cache-Control"] = f"private, max-age={KEPT_S}, immutable"
    return response


class PhotoAdd(FormPage[PhotoForm, list[Photo]]):
    """Add photos to an existing entry. Unlike with a new entry, a photo that can't be stored makes the form
    fail, since there is nothing else to save."""

    template_name = "web/log/photo.html"

    def prepare(self) -> None:
        self.record = record_or_404(self.kwargs["kind"], self.kwargs["pk"])
        if type(self.record) not in COLUMN:
            raise Http404(_("Photos belong to work, incidents and notes."))

    def form(self, data: QueryDict | None) -> PhotoForm:
        return PhotoForm(data, reader=self.reader)

    def context(self) -> dict[str, object]:
        return {"line": line_of(self.record, self.reader.system)}

    def act(self, form: PhotoForm, now: datetime) -> list[Photo]:
        pictures = form.cleaned_data["photo"]
        try:
            return actions.keep_photos(by=self.request.user, at=now, record=self.record, pictures=pictures)
        except NotKept as lost:
            raise Refused(
                _("The disk of this machine would not take the photo (%(reason)s). Have room made there.")
                % {"reason": lost},
                field="photo",
            ) from lost

    def keep_photos(self, form: PhotoForm, record: list[Photo]) -> None:
        """Nothing to do: `act` has stored the photos."""

    def done(self, record: list[Photo]) -> HttpResponse:
        messages.success(self.request, _("The photo is kept with the entry."))
        return HttpResponseRedirect(reverse("web:record", kwargs=self.kwargs))


class PhotoDelete(FormPage[PhotoDeleteForm, LogRecord]):
    """Delete one photo, with a reason that stays with its entry."""

    template_name = "web/log/photo_delete.html"

    def prepare(self) -> None:
        found = Photo.objects.select_related("service", "incident", "note").filter(name=self.kwargs["name"])
        self.photo = get_object_or_404(found)
        record = self.photo.service or self.photo.incident or self.photo.note
        assert record is not None  # a constraint of the database
        self.line = line_of(record, self.reader.system)
        self.may_change = may_change(self.request.user, record, at=timezone.now())

    def form(self, data: QueryDict | None) -> PhotoDeleteForm:
        return PhotoDeleteForm(data, reader=self.reader)

    def context(self) -> dict[str, object]:
        return {"line": self.line, "photo": self.photo, "may_change": self.may_change}

    def act(self, form: PhotoDeleteForm, now: datetime) -> LogRecord:
        return actions.delete_photo(
            by=self.request.user, at=now, name=self.photo.name, reason=form.text_of("reason")
        )

    def done(self, record: LogRecord) -> HttpResponse:
        messages.success(self.request, _("The photo is deleted. Backups from before still hold it."))
        return HttpResponseRedirect(self.line.url)


photo_delete = PhotoDelete.as_page(Permission.LOG)
photo_add = PhotoAdd.as_page(Permission.LOG)
