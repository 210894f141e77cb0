"""Queries of the service log for pages."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from decimal import Decimal

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Sum

from wearlog.equipment.models import Fitting, Part, Position, Press
from wearlog.equipment.queries import first_of_each_press
from wearlog.service.models import CropChange, Incident, LotHold, Measurement, Rule, Service


def latest_services(press: Press | None = None, *, limit: int = 20) -> QuerySet[Service]:
    """The latest work that is not voided, newest first."""
    services = (
        Service.objects.not_voided()
        .select_related("press", "position", "part__part_type", "rule", "entered_by", "crop_change__to_crop")
        .order_by("-done_at", "-pk")
    )
    return (services if press is None else services.filter(press=press))[:limit]


def services_of(part: Part) -> QuerySet[Service]:
    """All work on a part that is not voided, newest first."""
    return (
        Service.objects.not_voided()
        .filter(part=part)
        .select_related("press", "position", "part__part_type", "rule", "entered_by", "crop_change__to_crop")
        .order_by("-done_at", "-pk")
    )


def work_on(
    press: Press, *, parts: Collection[int], actions: Collection[str], since: datetime
) -> QuerySet[Service]:
    """Work on the press that is not voided, in order of time, with its parts: all that was done on these
    parts, and of these actions what was done since an instant."""
    wanted = Q(part_id__in=parts) | Q(action__in=actions, done_at__gte=since)
    rows = Service.objects.not_voided().filter(wanted, press=press)
    return rows.select_related("part__part_type").order_by("done_at", "pk")


def gauges_on(press_id: int) -> QuerySet[Measurement]:
    """The gauges that are not voided of parts that sat on the press at the time, with their parts."""
    sat = Fitting.objects.not_voided().filter(
        Q(removed_at=None) | Q(removed_at__gte=OuterRef("measured_at")),
        part=OuterRef("part"),
        position__press=press_id,
        fitted_at__lte=OuterRef("measured_at"),
    )
    return Measurement.objects.not_voided().filter(Exists(sat)).select_related("part__part_type")


def measurements_of(part: Part) -> QuerySet[Measurement]:
    """All gauge readings of a part that are not voided, newest first."""
    return (
        Measurement.objects.not_voided()
        .filter(part=part)
        .select_related("service", "entered_by")
        .order_by("-measured_at", "-pk")
    )


def last_measurement(part: Part, edge: str, *, place: str | None = None) -> Measurement | None:
    """The last plain gauge value (no pin-gauge bound) of an edge, at one place or anywhere."""
    gauges = Measurement.objects.not_voided().filter(part=part, edge=edge, bound="")
    if place is not None:
        gauges = gauges.filter(place=place)
    return gauges.order_by("-measured_at", "-pk").first()


def latest_incidents(press: Press | None = None, *, limit: int = 20) -> QuerySet[Incident]:
    """The latest incidents that are not voided, newest first."""
    incidents = (
        Incident.objects.not_voided()
        .select_related("press", "position", "hold", "entered_by")
        .order_by("-happened_at", "-pk")
    )
    return (incidents if press is None else incidents.filter(press=press))[:limit]


def work_counted(
    presses: Sequence[Press], since: datetime, until: datetime
) -> QuerySet[Service, tuple[int, str, int, Decimal | None, Decimal | None]]:
    """(press, action, times, hours of work, hours that the press stood) of the work from `since` and before
    `until`, the most frequent first; the sums are None where nobody wrote any."""
    return (
        Service.objects.not_voided()
        .filter(press__in=presses, done_at__gte=since, done_at__lt=until)
        .order_by()
        .values_list("press", "action")
        .annotate(times=Count("pk"), labour=Sum("labour_h"), stood=Sum("downtime_h"))
        .order_by("press", "-times", "action")
    )


def incidents_counted(
    presses: Sequence[Press], since: datetime, until: datetime
) -> QuerySet[Incident, tuple[int, str, int]]:
    """(press, kind, times) of the incidents from `since` and before `until`, the most frequent first."""
    return (
        Incident.objects.not_voided()
        .filter(press__in=presses, happened_at__gte=since, happened_at__lt=until)
        .order_by()
        .values_list("press", "kind")
        .annotate(times=Count("pk"))
        .order_by("press", "-times", "kind")
    )


def incidents_beside(part: Part) -> QuerySet[Incident]:
    """The incidents that are not voided at presses while the part sat there, oldest first, unless they name
    another position."""
    here = Fitting.objects.not_voided().filter(
        Q(removed_at=None) | Q(removed_at__gt=OuterRef("happened_at")),
        part=part,
        fitted_at__lte=OuterRef("happened_at"),
    )
    at_press, at_position = (
        here.filter(position__press=OuterRef("press")),
        here.filter(position=OuterRef("position")),
    )
    return (
        Incident.objects.not_voided()
        .filter(Exists(at_position) | (Q(position=None) & Exists(at_press)))
        .select_related("press", "position", "hold", "entered_by")
        .order_by("happened_at", "pk")
    )


def open_holds(press: Press | None = None) -> QuerySet[LotHold]:
    """Lots on hold, whose oil and cake may not be used yet, newest first."""
    holds = LotHold.objects.filter(released_at__isnull=True, incident__voided_at__isnull=True).select_related(
        "incident__press"
    )
    return holds if press is None else holds.filter(incident__press=press)


def last_crop_changes(press_ids: Collection[int]) -> dict[int, CropChange]:
    """By press, the last signed record of its cleaning; one query."""
    changes = CropChange.objects.filter(service__voided_at__isnull=True).select_related(
        "service", "from_crop", "to_crop"
    )
    last = first_of_each_press(changes, press_ids, "-service__done_at", "-pk", press="service__press")
    return {change.service.press_id: change for change in last}


def rules_for(
    press: Press, fitting: Fitting | None = None, position: Position | None = None
) -> QuerySet[Rule]:
    """Rules that can apply to the press, to the fitting or to the position, by code."""
    rules = Rule.objects.filter(Q(press__isnull=True) | Q(press=press))
    place = fitting.position if fitting is not None else position
    if place is not None:
        rules = rules.filter(Q(position="") | Q(position=place.name))
        rules = rules.filter(Q(kind="") | Q(kind=place.kind))
    if fitting is not None:
        rules = rules.filter(Q(part_type__isnull=True) | Q(part_type=fitting.part.part_type_id))
    return rules.select_related("part_type", "press", "after_crop")
