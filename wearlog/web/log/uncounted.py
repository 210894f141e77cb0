"""What is said after a run on a press where nobody has recorded the parts that collect its wear."""

from __future__ import annotations

from collections.abc import Sequence

from django.contrib import messages
from django.db.models import Count, Q
from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext as _

from wearlog.equipment.models import Position, Press
from wearlog.people.roles import Permission, allows
from wearlog.web.site.access import MillRequest
from wearlog.web.site.known import PlaceNow


def tell_of_uncounted_wear(request: MillRequest, press: Press, places: Sequence[PlaceNow]) -> None:
    """Add a message if a screw's or a die's place never had a part, or the press has no such place.

    A place that a part has left is asked about before the run is saved; it is not told of again here.
    """
    wearing = [place.position for place in places if place.is_wear_part]
    stands = Q(fittings__isnull=False, fittings__voided_at__isnull=True)
    counted = Position.objects.filter(press=press).annotate(stays=Count("fittings", filter=stands))
    known = set(counted.filter(stays__gt=0).values_list("pk", flat=True))
    missing = [position.name for position in wearing if position.pk not in known]
    if wearing and not missing:
        return
    if wearing:
        said = _("No part collects the wear of this run on: %(places)s.") % {"places": ", ".join(missing)}
    else:
        said = _("No part collects the wear of this run: %(press)s has no place for a screw or a die.") % {
            "press": press
        }
    if not allows(request.user, Permission.MAINTAIN):
        ask = _("Ask a maintainer to record what sits there.")
        messages.warning(request, f"{said} {ask}")
        return
    page = "web:what-sits" if wearing else "web:press-edit"
    messages.warning(
        request,
        format_html(
            '{} <a href="{}">{}</a>',
            said,
            reverse(page, kwargs={"pk": press.pk}),
            _("Record what sits there"),
        ),
    )
