"""The filters of each table of records, as they stand in its address."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import django_filters as df
from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.http import QueryDict
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.compare.records.choice import KNOWN, Counts, RunChoice, Through
from wearlog.compare.reliability import Ended
from wearlog.equipment.models import EDGE_CHOICES, Fitting, Kind, Part, PartType, Press
from wearlog.people.models import LogRecord
from wearlog.runs.models import Crop, Run
from wearlog.runs.seasons import SEASON_START, BadSeasonStart, parse_start, season_name
from wearlog.service.models import Incident, IncidentKind, Measurement, Rule, Service
from wearlog.service.work import Action

COUNTS = (
    (Counts.RATE, _("those of which rates are made")),
    (Counts.COSTS, _("those among which costs are divided")),
    (Counts.PURGE, _("purge alone")),
    (Counts.WORKED_OUT, _("those whose seed was worked out")),
    (Counts.UNTIMED, _("those without hours")),
)
MIX = re.compile(r"(?P<crop>\S+):(?P<weight>\d+(\.\d+)?(e-?\d+)?)")
Choices = Iterable[tuple[str, object]]


def _days(value: str) -> None:
    """What a season's start must be."""
    try:
        parse_start(value)
    except BadSeasonStart as bad:
        raise ValidationError(str(bad)) from bad


class Several(df.MultipleChoiceFilter):  # type: ignore[misc]
    """Any of some values, each ticked by itself."""

    def __init__(self, label: object, **kwargs: object) -> None:
        super().__init__(label=label, widget=forms.CheckboxSelectMultiple, **kwargs)


class Day(df.DateFilter):  # type: ignore[misc]
    def __init__(self, label: object, **kwargs: object) -> None:
        widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
        super().__init__(label=label, widget=widget, input_formats=["%Y-%m-%d"], **kwargs)


class Written(df.CharFilter):  # type: ignore[misc]
    def __init__(self, label: object, **kwargs: object) -> None:
        super().__init__(label=label, max_length=120, **kwargs)


class One(df.ChoiceFilter):  # type: ignore[misc]
    def __init__(self, label: object, **kwargs: object) -> None:
        super().__init__(label=label, empty_label=_("all"), **kwargs)


class Kept(df.CharFilter):  # type: ignore[misc]
    """What only addresses hold: it is kept when other filters are changed."""

    def __init__(self, **kwargs: object) -> None:
        super().__init__(widget=forms.HiddenInput, max_length=200, **kwargs)


class Numbered(df.NumberFilter):  # type: ignore[misc]
    """The same for a number."""

    def __init__(self, **kwargs: object) -> None:
        super().__init__(widget=forms.HiddenInput, **kwargs)


class Filters(df.FilterSet):  # type: ignore[misc]
    """What every table of the log is filtered by. A record belongs to the day on which it began.

    zone: the mill's, in which its days are meant."""

    when: str = ""
    """The field with the time."""
    press_by: str = "press__code__in"

    press = Several(_("Press"), method="of_presses")
    first = Day(_("From"), method="from_day")
    last = Day(_("To"), method="to_day")
    season = Several(_("Season"), method="in_seasons")
    season_start = df.CharFilter(
        label=_("A season begins on (month-day)"), validators=[_days], max_length=5, method="nothing"
    )
    edge = One(_("Edge"), choices=EDGE_CHOICES, method="at_edge")
    part = Written(_("Part"), method="of_part")
    person = Written(_("Done by"), method="by_person")

    def __init__(self, data: QueryDict, queryset: QuerySet[LogRecord], *, zone: ZoneInfo) -> None:
        super().__init__(data, queryset)
        self.zone = zone
        try:
            self.start = parse_start(data.get("season_start") or SEASON_START)
        except BadSeasonStart:
            self.start = parse_start(SEASON_START)
        presses = Press.objects.order_by("code").values_list("code", "name")
        self.choices("press", [(code, name or code) for code, name in presses])
        self.choices("season", [(name, name) for name in self.seasons()])

    def choices(self, name: str, choices: Choices) -> None:
        self.filters[name].extra["choices"] = list(choices)

    def seasons(self) -> list[str]:
        """The seasons that may be chosen, newest first: from the first record to the last."""
        rows = self.queryset.order_by()
        ends = [
            rows.order_by(order).values_list(self.when, flat=True).first()
            for order in (self.when, f"-{self.when}")
        ]
        if None in ends:
            return []
        first, last = (self.year_of(one) for one in ends)
        return [season_name(year, self.start) for year in range(last, first - 1, -1)]

    def year_of(self, instant: datetime) -> int:
        day = instant.astimezone(self.zone)
        return day.year - ((day.month, day.day) < self.start)

    def midnight(self, day: date) -> datetime:
        return datetime.combine(day, time.min, self.zone).astimezone(UTC)

    def nothing(self, rows: QuerySet[LogRecord], _name: str, _value: object) -> QuerySet[LogRecord]:
        return rows

    def of_presses(self, rows: QuerySet[LogRecord], _name: str, codes: list[str]) -> QuerySet[LogRecord]:
        return rows.filter(**{self.press_by: codes}) if codes else rows

    def from_day(self, rows: QuerySet[LogRecord], _name: str, day: date) -> QuerySet[LogRecord]:
        return rows.filter(**{f"{self.when}__gte": self.midnight(day)})

    def to_day(self, rows: QuerySet[LogRecord], _name: str, day: date) -> QuerySet[LogRecord]:
        return rows.filter(**{f"{self.when}__lt": self.midnight(day + timedelta(days=1))})

    def in_seasons(self, rows: QuerySet[LogRecord], _name: str, names: list[str]) -> QuerySet[LogRecord]:
        within = Q()
        for name in names:
            year = int(name[:4])
            begin, end = (self.midnight(date(one, *self.start)) for one in (year, year + 1))
            within |= Q(**{f"{self.when}__gte": begin, f"{self.when}__lt": end})
        return rows.filter(within)

    def at_edge(self, rows: QuerySet[LogRecord], _name: str, edge: str) -> QuerySet[LogRecord]:
        return rows.filter(Q(("edge", edge)))

    def of_part(self, rows: QuerySet[LogRecord], _name: str, code: str) -> QuerySet[LogRecord]:
        return rows.filter(Q(("part__code", code)))

    def by_person(self, rows: QuerySet[LogRecord], _name: str, name: str) -> QuerySet[LogRecord]:
        return rows.filter(Q(("done_by__iexact", name)))


class RunFilters(Filters):
    """The filters of runs. What they keep is chosen from the log's arrays (`compare.records`), which know the
    hours of each run and the parts it went through; nothing is asked of the database here."""

    when = "started_at"
    crop = Several(_("Crop"), method="nothing")
    die = Written(_("Die"), method="nothing")
    screw = Written(_("Screw"), method="nothing")
    type = One(_("Type of part"), method="nothing")
    size = df.NumberFilter(label=_("Bore of the die (mm)"), min_value=0, max_value=5000, method="nothing")
    lot = Written(_("Lot"), method="nothing")
    counts = One(_("Which runs"), choices=COUNTS, method="nothing")
    known = One(
        _("Only where this is recorded"),
        choices=[("oil", _("oil")), ("cake", _("cake")), ("energy", _("energy"))],
        method="nothing",
    )
    fitting = Numbered(method="nothing")
    life = Numbered(method="nothing")
    mix = df.MultipleChoiceFilter(widget=forms.MultipleHiddenInput, method="nothing")

    def __init__(self, data: QueryDict, *, zone: ZoneInfo, seasons: list[str]) -> None:
        self.known_seasons = seasons
        super().__init__(data, Run._default_manager.none(), zone=zone)
        codes = Crop.objects.order_by("code").values_list("code", flat=True)
        self.choices("crop", [(code, code) for code in codes])
        types = PartType.objects.order_by("code").values_list("code", flat=True)
        self.choices("type", [(code, code) for code in types])
        self.choices("mix", [(one, one) for one in data.getlist("mix") if MIX.fullmatch(one)])

    def seasons(self) -> list[str]:
        return self.known_seasons

    @property
    def weights(self) -> dict[str, float]:
        """The weights of crops at which hours per tonne are asked for; empty where they are not."""
        found = [MIX.fullmatch(one) for one in self.form.cleaned_data.get("mix") or []]
        return {one["crop"]: float(one["weight"]) for one in found if one is not None}

    def choice(self) -> RunChoice:
        """What is asked for; a filter that can't be read is left out, and its error stands in the form."""
        self.form.is_valid()
        given = self.form.cleaned_data
        for name in ("die", "screw", "part"):
            code = given.get(name)
            if code and not Part.objects.filter(code=code).exists():
                self.form.add_error(name, gettext("No part has this mark."))
        given = self.form.cleaned_data
        size, fitting, life = given.get("size"), given.get("fitting"), given.get("life")
        return RunChoice(
            presses=tuple(given.get("press") or ()),
            crops=tuple(given.get("crop") or ()),
            seasons=tuple(given.get("season") or ()),
            season_start="-".join(f"{part:02d}" for part in self.start),
            first=given.get("first"),
            last=given.get("last"),
            lot=given.get("lot") or "",
            person=given.get("person") or "",
            counts=Counts(given.get("counts") or ""),
            known=given.get("known") if given.get("known") in KNOWN else "",
            through=Through(
                die=given.get("die") or "",
                screw=given.get("screw") or "",
                part=given.get("part") or "",
                type=given.get("type") or "",
                size_mm=None if size is None else float(size),
                edge=given.get("edge") or "",
                fitting=None if fitting is None else int(fitting),
                life=None if life is None else int(life),
            ),
        )


class WorkFilters(Filters):
    when = "done_at"
    action = One(_("Work"), choices=Action.choices)
    kind = One(_("Kind of part"), choices=Kind.choices, field_name="part__part_type__kind")
    rule = One(_("Counts for the rule"), field_name="rule__code")
    known = One(
        _("Only where this is recorded"),
        choices=[
            ("labour", _("hours of work")),
            ("stood", _("how long the press stood")),
            ("paid", _("money")),
        ],
        method="where_known",
    )

    def __init__(self, data: QueryDict, *, zone: ZoneInfo) -> None:
        super().__init__(data, shown_work(), zone=zone)
        codes = Rule.objects.order_by("code").values_list("code", flat=True)
        self.choices("rule", [(code, code) for code in codes])

    def where_known(self, rows: QuerySet[LogRecord], _name: str, what: str) -> QuerySet[LogRecord]:
        field = {"labour": "labour_h", "stood": "downtime_h", "paid": "cost"}[what]
        return rows.filter(**{f"{field}__isnull": False})


class IncidentFilters(Filters):
    when = "happened_at"
    kind = One(_("What happened?"), choices=IncidentKind.choices)

    def __init__(self, data: QueryDict, *, zone: ZoneInfo) -> None:
        super().__init__(data, shown_incidents(), zone=zone)
        del self.filters["edge"], self.filters["part"]

    def by_person(self, rows: QuerySet[LogRecord], _name: str, name: str) -> QuerySet[LogRecord]:
        return rows.filter(entered_by__username__iexact=name)


class GaugeFilters(Filters):
    when = "measured_at"
    type = One(_("Type of part"), field_name="part__part_type__code")

    def __init__(self, data: QueryDict, *, zone: ZoneInfo) -> None:
        super().__init__(data, shown_gauges(), zone=zone)
        types = PartType.objects.order_by("code").values_list("code", flat=True)
        self.choices("type", [(code, code) for code in types])

    def of_presses(self, rows: QuerySet[LogRecord], _name: str, codes: list[str]) -> QuerySet[LogRecord]:
        """Where the part sat when it was gauged, or last before."""
        sat = Fitting.objects.not_voided().filter(
            part=OuterRef("part"), position__press__code__in=codes, fitted_at__lte=OuterRef("measured_at")
        )
        on = sat.filter(Q(removed_at__isnull=True) | Q(removed_at__gte=OuterRef("measured_at")))
        return rows.filter(Exists(on) | Q(service__press__code__in=codes)) if codes else rows

    def by_person(self, rows: QuerySet[LogRecord], _name: str, name: str) -> QuerySet[LogRecord]:
        return rows.filter(Q(entered_by__username__iexact=name) | Q(service__done_by__iexact=name))


class LifeFilters(df.FilterSet):  # type: ignore[misc]
    """The lives of parts: of one type, and how they ended."""

    type = One(_("Type of part"))
    ended = Several(_("How it ended"))

    def __init__(self, data: QueryDict, *, words: dict[Ended, object]) -> None:
        super().__init__(data, Part.objects.none())
        types = PartType.objects.order_by("code").values_list("code", flat=True)
        self.filters["type"].extra["choices"] = [(code, code) for code in types]
        self.filters["ended"].extra["choices"] = [(one.value, words[one]) for one in Ended]


def shown_work() -> QuerySet[Service]:
    return Service.objects.not_voided().select_related("press", "position", "part__part_type")


def shown_incidents() -> QuerySet[Incident]:
    return Incident.objects.not_voided().select_related("press", "position", "entered_by", "hold")


def shown_gauges() -> QuerySet[Measurement]:
    return Measurement.objects.not_voided().select_related("part__part_type", "service__press", "entered_by")
