"""Known values, so that forms need not ask for them: fitted parts, the last reading, the usual press and
crop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from wearlog.equipment.kinds import GROUND_BY_SEED, Kind
from wearlog.equipment.models import Fitting, Part, Position, Press
from wearlog.people.models import User
from wearlog.runs.models import Crop, Reading, Run
from wearlog.service.models import Measurement
from wearlog.service.queries import last_crop_change
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
    return Reading.objects.not_voided().filter(press=press).order_by("-read_at").first()


def last_run(press: Press) -> Run | None:
    return (
        Run.objects.of(press)
        .filter(ends_at__isnull=False)
        .select_related("crop")
        .order_by("-started_at")
        .first()
    )


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


def spares_for(position: Position, like: Part | None = None, crop: Crop | None = None) -> list[Spare]:
    """Parts of the position's kind that are neither retired nor fitted, one line for each edge.

    Those that serve `crop` come first where it is given, else those of the fitted type; then types of the
    same kind by size; unused edges before used.
    """
    parts = (
        Part.objects.filter(part_type__kind=position.kind, retired_on__isnull=True)
        .exclude(fittings__in=Fitting.objects.open())
        .select_related("part_type")
    )
    worn_in = set(
        Fitting.objects.not_voided().filter(part__in=parts).values_list("part_id", "edge").distinct()
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


def crops_in_use(press: Press | None) -> list[Crop]:
    """All crops, the press's most recent first."""
    crops = list(Crop.objects.all())
    if press is None:
        return crops
    recent: dict[int, int] = {}
    newest = Run.objects.of(press).order_by("-started_at").values_list("crop_id", flat=True)[:60]
    for number, crop_id in enumerate(newest):
        recent.setdefault(crop_id, number)
    return sorted(crops, key=lambda crop: (recent.get(crop.pk, 999), crop.code))


def next_crop(press: Press) -> Crop | None:
    """The presumed crop of the next run: that of a crop change since the last run, else the last run's."""
    last, change = last_run(press), last_crop_change(press)
    if change is not None and (last is None or change.service.done_at >= last.started_at):
        return change.to_crop
    return last.crop if last is not None else None
