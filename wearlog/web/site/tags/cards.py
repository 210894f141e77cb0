"""`{% load cards %}` then `{% qr address %}`: a QR code as a drawing in the page."""

from __future__ import annotations

from django import template
from django.db.models import Model
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from wearlog.equipment.models import Part, Position, Press
from wearlog.web.site.codes import Code, Kind
from wearlog.web.site.qr import qr_svg

register = template.Library()


@register.filter
def short_code(thing: Press | Position | Part) -> str:
    """`T3TX`: the code on the label or stamped into the steel."""
    kinds: dict[type[Model], Kind] = {Press: "press", Position: "position", Part: "part"}
    return str(Code(kinds[type(thing)], thing.pk))


@register.simple_tag(name="qr")
def qr(address: str) -> SafeString:
    """The QR code of a URL, with the URL as its text for screen readers."""
    return qr_svg(address, label=_("QR code that opens %(address)s") % {"address": address})
