"""Known values, so that forms need not ask for them: fitted parts, the last reading, the usual press and
crop."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from decimal import Decimal

from wearlog.equipment.kinds import GROUND_BY_SEED, Kind
from wearlog.equipment.models import Fitting, Part, Position, Press
from wearlog.people.models import User
from wearlog.runs import queries as runs
from wearlog.runs.models import Crop, Reading, Run
from wearlog.service.models import CropChange, Measurement
from wearlog.service.queries import last_crop_changes
from wearlog.words.kinds import mark_words


def presses_at_work() -> list[Press]:
    return list(Press.objects.filter(retired_on__isnull=True))


def usual_press(user: User, presses: Sequence[Press], requested: str) -> Press | None:
    """The requested press, else the only one, else the one on which this person last logged a run."""
    if requested.isdecimal():
        return next((press for press in presses if press.pk == int(requested)), None)
    if len(presses) == 1:
        return presses[0]
    last = Run.objects.not_voided().filter(entered_by=user).order_by("-pk").first()
    return next((press for press in presses if last is not None and press.pk == last.press_id), None)


@dataclass(frozen=True)
class PlaceNow:
    """A position and its open fitting, if any."""

    position: Position
    fitting: Fitting | None

    @property
    def label(self) -> str:
        return self.position.name

    @property
    def is_wear_part(self) -> bool:
        """Whether the position is for a screw or die, which most work is about and which are shown first."""
        return self.position.kind in GROUND_BY_SEED

    @property
    def fitted(self) -> str:
        """`D-07 B`, or empty. (The kind is in the label next to it.)"""
        if self.fitting is None:
            return ""
        return mark_words(self.fitting.part.code, self.fitting.edge)


def places_of(press: Press) -> list[PlaceNow]:
    """Every position of the press with its open fitting; screws and dies first."""
    order = {kind: number for number, kind in enumerate(Kind.values)}
    positions = sorted(press.positions.all(), key=lambda p: (order.get(p.kind, 99), p.name))
    open_now = {
        fitting.position_id: fitting
        for fitting in Fitting.objects.open()
        .filter(position__press=press)
        .select_related("part__part_type", "position__press")
    }
    return [PlaceNow(position, open_now.get(position.pk)) for position in positions]


def barrels_of(places: Sequence[PlaceNow]) -> list[str]:
    return sorted({place.position.barrel for place in places if place.position.barrel})


def last_reading(press: Press) -> Reading | None:
    return runs.last_reading(press)


def last_run(press: Press) -> Run | None:
    """The press's run that started last of those that have ended."""
    return runs.last_ended_runs([press.pk]).get(press.pk)


def running(press: Press) -> list[Run]:
    return list(Run.objects.running().filter(press=press).select_related("crop", "press"))


@dataclass(frozen=True)
class Spare:
    """A spare part that could be fitted on a position, with one of its edges."""

    part: Part
    edge: str
    used: bool

    @property
    def value(self) -> str:
        return f"{self.part.pk}:{self.edge}"


def spares_for(
    position: Position,
    like: Part | None = None,
    crop: Crop | None = None,
    used: Collection[tuple[int, str]] | None = None,
) -> list[Spare]:
    """Parts of the position's kind that are neither retired nor fitted, one line for each edge.

    Those that serve `crop` come first where it is given, else those of the fitted type; then types of the
    same kind by size; unused edges before used. used: the edges (part, edge) that were ever fitted, where the
    caller knows them.
    """
    parts = (
        Part.objects.filter(part_type__kind=position.kind, retired_on__isnull=True)
        .exclude(fittings__in=Fitting.objects.open())
        .select_related("part_type")
    )
    worn_in = (
        used
        if used is not None
        else set(
            Fitting.objects.not_voided().filter(part__in=parts).values_list("part_id", "edge").distinct()
        )
    )
    found = [
        Spare(part=part, edge=edge, used=(part.pk, edge) in worn_in)
        for part in parts
        for edge in part.part_type.edge_names
    ]
    like_type = like.part_type_id if like is not None else None
    return sorted(
        found,
        key=lambda spare: (
            not serves(spare.part, crop) if crop else spare.part.part_type_id != like_type,
            spare.part.part_type.size_mm or Decimal(0),
            spare.part.part_type.code,
            spare.used,
            spare.part.code,
            spare.edge,
        ),
    )


@dataclass(frozen=True)
class MarkedPart:
    """A part found by its mark; `edge` is None where it has several and none was named."""

    part: Part
    edge: str | None


def spare_by_mark(typed: str) -> MarkedPart | None:
    """`d5-07 b` is part D5-07 with edge B; a part with one edge needs none."""
    mark, _space, last = typed.strip().rpartition(" ")
    for code, edge in ((typed.strip(), ""), (mark.strip(), last.upper())):
        part = Part.objects.select_related("part_type").filter(code__iexact=code).first() if code else None
        if part is None:
            continue
        if edge in part.part_type.edge_names:
            return MarkedPart(part, edge)
        return MarkedPart(part, None)
    return None


@dataclass(frozen=True)
class EdgeUse:
    """One edge of a part: whether it has been used, and its last plain gauge."""

    edge: str
    used: bool
    last: Measurement | None


def edges_of(part: Part) -> list[EdgeUse]:
    used = set(Fitting.objects.not_voided().filter(part=part).values_list("edge", flat=True))
    last: dict[str, Measurement] = {}
    for gauge in Measurement.objects.not_voided().filter(part=part).order_by("measured_at", "pk"):
        last[gauge.edge] = gauge
    return [EdgeUse(edge, edge in used, last.get(edge)) for edge in part.part_type.edge_names]


def serves(part: Part, crop: Crop) -> bool:
    """Whether the part's type serves the crop; a type that names no crop serves all."""
    return not part.part_type.for_crops or crop.code in part.part_type.for_crops.split()


@dataclass(frozen=True)
class BeforeRun:
    """What is known of a press before a run of it is logged.

    `crops` are all crops, those that the press pressed last first. `next_crop` is the presumed crop of the
    next run: that of a crop change since the last run, else the last run's.
    """

    reading: Reading | None
    last_run: Run | None
    crops: list[Crop]
    next_crop: Crop | None
    last_change: CropChange | None = None

    @property
    def usual_crop(self) -> Crop | None:
        """The crop to begin with: the presumed one, else the only one that there is."""
        return self.next_crop or (self.crops[0] if len(self.crops) == 1 else None)


def before_runs(presses: Sequence[Press], *, with_readings: bool = True) -> dict[int, BeforeRun]:
    """By the primary key of the press, what is known before its next run; five queries for any number of
    presses, or four without readings."""
    press_ids = [press.pk for press in presses]
    readings = runs.last_readings(press_ids) if with_readings else {}
    last = runs.last_ended_runs(press_ids)
    recent, changes = runs.recent_crops(press_ids), last_crop_changes(press_ids)
    crops = list(Crop.objects.all())
    return {
        pk: BeforeRun(
            reading=readings.get(pk),
            last_run=last.get(pk),
            crops=_recent_first(crops, recent.get(pk, [])),
            next_crop=_next_crop(last.get(pk), changes.get(pk)),
            last_change=changes.get(pk),
        )
        for pk in press_ids
    }


def before_run(press: Press, *, with_readings: bool = True) -> BeforeRun:
    return before_runs([press], with_readings=with_readings)[press.pk]


def _recent_first(crops: Sequence[Crop], recent: Sequence[int]) -> list[Crop]:
    place = {crop_id: number for number, crop_id in enumerate(recent)}
    return sorted(crops, key=lambda crop: (place.get(crop.pk, len(place)), crop.code))


def _next_crop(last: Run | None, change: CropChange | None) -> Crop | None:
    if change is not None and (last is None or change.service.done_at >= last.started_at):
        return change.to_crop
    return last.crop if last is not None else None
