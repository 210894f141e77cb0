"""Photos from the phone: a field for several files, each validated and re-encoded before anything is
stored."""

from __future__ import annotations

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _

from wearlog.people.refusals import Refused
from wearlog.service.models import Photo
from wearlog.service.photos import MOST_PHOTOS
from wearlog.service.pictures import MOST_BYTES, Picture, picture_of
from wearlog.web.site.forms import EntryForm
from wearlog.web.site.model_fields import of


class PhotoInput(forms.ClearableFileInput):
    """Opens the back camera on a phone; elsewhere a file dialog."""

    allow_multiple_selected = True
    template_name = "django/forms/widgets/file.html"

    def __init__(self) -> None:
        super().__init__(attrs={"accept": "image/*", "capture": "environment", "multiple": True})


class PhotosField(forms.FileField):
    """Its cleaned value is a list of pictures, empty where nothing was chosen."""

    widget = PhotoInput

    def clean(self, data: object, initial: object = None) -> list[Picture]:
        sent = data if isinstance(data, list | tuple) else [data] if data else []
        files = [file for file in sent if isinstance(file, UploadedFile)]
        if self.required and not files:
            raise ValidationError(_("Choose a photo, or take one."), code="required")
        if len(files) > MOST_PHOTOS:
            raise ValidationError(
                _("At most %(most)s photos at a time.") % {"most": MOST_PHOTOS}, code="too_many"
            )
        return [self._picture(file) for file in files]

    @staticmethod
    def _picture(file: UploadedFile[bytes]) -> Picture:
        try:
            # One byte more than allowed shows that the file is too large, without reading all of it.
            return picture_of(file.read(MOST_BYTES + 1))
        except Refused as refused:
            raise ValidationError(refused.message, code="photo") from refused


def photos(*, required: bool = False) -> PhotosField:
    """The field for the photos of an entry."""
    field = of(Photo, "name", PhotosField, required=required)
    assert isinstance(field, PhotosField)
    return field


class PhotoForm(EntryForm):
    """Adds photos to an existing entry."""

    photo = photos(required=True)
