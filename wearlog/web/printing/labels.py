"""Labels to print: the QR code, the name, and the short code in letters, for stamping where a label won't
hold."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.calc import units
from wearlog.equipment.models import Fitting, Part, Position, Press
from wearlog.web.site.codes import Code

SIZES = {
    "small": gettext_lazy("small, 45 x 20 mm"),
    "middle": gettext_lazy("middle, 60 x 30 mm"),
    "large": gettext_lazy("large, 90 x 50 mm"),
    "stamp": gettext_lazy("a list of codes to stamp"),
}
GROUPS = {
    "presses": gettext_lazy("presses"),
    "places": gettext_lazy("places on presses"),
    "fitted": gettext_lazy("parts on presses"),
    "shelf": gettext_lazy("parts on the shelf"),
}
MOST = 400
"""Labels of one page; a mill with more prints them press by press."""


@dataclass(frozen=True)
class Label:
    """One label: its code, the URL in its QR code, a name, and a description."""

    code: str
    path: str
    url: str
    name: str
    what: str


@dataclass(frozen=True)
class Wanted:
    """Which labels are wanted: whole groups, at one press (None: at all), and single records by primary
    key."""

    groups: Sequence[str] = ()
    press: int | None = None
    presses: Sequence[int] = ()
    positions: Sequence[int] = ()
    parts: Sequence[int] = ()


def labels_for(wanted: Wanted, *, site: str, system: str) -> list[Label]:
    """The labels in order: presses, positions, parts. Groups leave out retired ones."""

    def label(code: Code, name: str, what: str) -> Label:
        path = reverse("web:scan-code", args=[code])
        return Label(str(code), path, site + path, name, what)

    return [
        *(label(Code("press", press.pk), str(press), press.code) for press in _presses(wanted)),
        *(label(Code("position", place.pk), place.name, str(place.press)) for place in _places(wanted)),
        *(label(Code("part", part.pk), part.code, _what(part, system)) for part in _parts(wanted)),
    ][:MOST]


def _presses(wanted: Wanted) -> Iterable[Press]:
    found = Press.objects.filter(pk__in=wanted.presses)
    if "presses" in wanted.groups:
        found = found | Press.objects.filter(retired_on__isnull=True, **_only(wanted, "pk"))
    return found.distinct()


def _places(wanted: Wanted) -> Iterable[Position]:
    found = Position.objects.filter(pk__in=wanted.positions)
    if "places" in wanted.groups:
        found = found | Position.objects.filter(press__retired_on__isnull=True, **_only(wanted, "press_id"))
    return found.select_related("press").distinct()


def _parts(wanted: Wanted) -> Iterable[Part]:
    keys = set(wanted.parts)
    at_work = Fitting.objects.open()
    if "fitted" in wanted.groups:
        keys |= set(at_work.filter(**_only(wanted, "position__press_id")).values_list("part_id", flat=True))
    if "shelf" in wanted.groups:
        shelf = Part.objects.filter(retired_on__isnull=True).exclude(fittings__in=at_work)
        keys |= set(shelf.values_list("pk", flat=True))
    return Part.objects.filter(pk__in=keys).select_related("part_type")


def _only(wanted: Wanted, field: str) -> dict[str, int]:
    return {} if wanted.press is None else {field: wanted.press}


def _what(part: Part, system: str) -> str:
    """`die, 6.00 mm, edges A and B`: what distinguishes a part from others on the shelf."""
    kind = part.part_type
    words = [str(kind.get_kind_display())]
    if kind.size_mm is not None:
        words.append(units.show_length(kind.size_mm, system))
    if kind.edges > 1:
        words.append(_("edges %(edges)s") % {"edges": " ".join(kind.edge_names)})
    return ", ".join(words)
