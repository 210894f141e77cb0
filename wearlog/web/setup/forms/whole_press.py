"""The form that sets up a press in one go: what it is, what sits on it, where it is locked, its rules."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Unpack

from django import forms
from django.forms import BoundField
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.calc import units
from wearlog.equipment.builds import SeatOfBuild
from wearlog.equipment.kinds import GROUND_BY_SEED, Build, Kind
from wearlog.equipment.models import Part, PartType, Position, Press
from wearlog.lockout.models import EnergySource
from wearlog.lockout.starting import Proposal, proposals_for, say_where, tick_it
from wearlog.logbook.whole_press import SeatNow, WholePress
from wearlog.runs.models import Crop, Reading
from wearlog.runs.usual_crops import UsualCrop, not_yet
from wearlog.service.models import Measurement, Rule
from wearlog.service.offered import FOR_KIND
from wearlog.service.proposed import ProposedRule, rules_for
from wearlog.service.work import Action
from wearlog.web.setup.things import trigger_words
from wearlog.web.site.fields import MassField, Reader
from wearlog.web.site.forms import EntryForm, FormArguments
from wearlog.web.site.model_fields import of

ONE_EDGE = "1"
EDGES = ((ONE_EDGE, _("one edge")), ("A", _("two, A at work")), ("B", _("two, B at work")))


@dataclass(frozen=True)
class SeatRow:
    """A place on the page: its number in the drawing, and its questions. `wears`: by the seed it takes."""

    number: int
    seat: SeatOfBuild
    fields: Sequence[BoundField]
    wears: bool

    @property
    def key(self) -> str:
        return f"s{self.number}"


@dataclass(frozen=True)
class AskedSource:
    """A proposed energy source: whether the press has it, and where it is isolated."""

    proposal: Proposal
    has: BoundField
    where: BoundField


class WholePressForm(EntryForm):
    """`build` decides which places are asked for; `like` is a press whose sizes are taken as a start."""

    code = of(Press, "code", help_text=_("As people call it, such as P1 or South press."))
    meter_h = of(Reading, "meter_h", required=False)
    pace = MassField(
        label=_("Usual seed in an hour"),
        help_text=_("Makes kilograms of the hours that parts have worked. Empty: not known."),
    )
    crops = forms.MultipleChoiceField(
        label=_("Crops that you press"), required=False, widget=forms.CheckboxSelectMultiple
    )
    rules = forms.MultipleChoiceField(
        label=_("Remind me to"), required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        build: Build,
        numbered: Sequence[tuple[int, SeatOfBuild]],
        **more: Unpack[FormArguments],
    ) -> None:
        self.build = build
        self.numbered = numbered
        self.proposals = proposals_for(build)
        self.new_rules: Sequence[ProposedRule] = rules_for(
            build, recorded=Rule.objects.values_list("code", flat=True)
        )
        self.new_crops: Sequence[UsualCrop] = not_yet(Crop.objects.values_list("code", flat=True))
        super().__init__(data, reader=reader, **more)

    def take_reader(self, reader: Reader) -> None:
        self.field("crops", forms.MultipleChoiceField).choices = [
            (each.key, each.name) for each in self.new_crops
        ]
        rules = self.field("rules", forms.MultipleChoiceField)
        rules.choices = [
            (each.key, f"{each.name}: {'; '.join(trigger_words(each.rule(self.build), reader.system))}")
            for each in self.new_rules
        ]
        rules.initial = [each.key for each in self.new_rules]
        for number, seat in self.numbered:
            self.ask_of(f"s{number}", seat)
        for each in self.proposals:
            self.fields[f"{each.key}-has"] = forms.BooleanField(label=each.source, required=False)
            self.fields[f"{each.key}-where"] = of(
                EnergySource, "isolate_at", label=_("Isolated or held at"), help_text=each.where
            )
        super().take_reader(reader)

    def ask_of(self, key: str, seat: SeatOfBuild) -> None:
        """Add the questions about what sits on a place; fewer where seed doesn't wear it."""
        self.fields[f"{key}-mark"] = of(Part, "code", required=False, label=_("Mark"))
        if seat.kind in GROUND_BY_SEED:
            self.fields[f"{key}-size"] = of(PartType, "size_mm")
            if Action.FLIP in FOR_KIND[seat.kind]:
                self.fields[f"{key}-edges"] = forms.ChoiceField(
                    label=_("Edges"), choices=EDGES, required=False
                )
        self.fields[f"{key}-hours"] = of(Part, "used_h", label=_("Hours so far"), help_text="")
        if seat.kind in GROUND_BY_SEED:
            self.fields[f"{key}-gauged"] = of(
                Measurement, "value_mm", required=False, label=_("Gauged today"), help_text=""
            )
            self.fields[f"{key}-limit"] = of(PartType, "limit_mm", label=_("Worn out at"), help_text="")

    # -------- what the page shows

    def seat_rows(self) -> list[SeatRow]:
        names = ("mark", "size", "edges", "hours", "gauged", "limit")
        return [
            SeatRow(
                number,
                seat,
                [self[f"s{number}-{name}"] for name in names if f"s{number}-{name}" in self.fields],
                seat.kind in GROUND_BY_SEED,
            )
            for number, seat in self.numbered
        ]

    def wearing(self) -> list[SeatRow]:
        return [row for row in self.seat_rows() if row.wears]

    def others(self) -> list[SeatRow]:
        return [row for row in self.seat_rows() if not row.wears]

    def others_open(self) -> bool:
        """Whether one of the others was answered, or has an error."""
        return any(field.errors or field.data for row in self.others() for field in row.fields)

    def source_rows(self) -> list[AskedSource]:
        return [
            AskedSource(each, self[f"{each.key}-has"], self[f"{each.key}-where"]) for each in self.proposals
        ]

    # -------- what is refused

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        if Press.objects.filter(code=self.text_of("code")).exists():
            self.add_error("code", gettext("There is a press of that name. Give this one another."))
        marks: set[str] = set()
        for number, seat in self.numbered:
            self.clean_seat(f"s{number}", self.mark_of(f"s{number}", seat), marks)
        for each in self.proposals:
            has, where = cleaned.get(f"{each.key}-has"), self.text_of(f"{each.key}-where")
            if has and not where:
                self.add_error(f"{each.key}-where", say_where(str(each.source)))
            if where and not has:
                self.add_error(f"{each.key}-has", tick_it())
        return cleaned

    def clean_seat(self, key: str, mark: str, marks: set[str]) -> None:
        if not mark:
            return
        if mark in marks or Part.objects.filter(code=mark).exists():
            self.add_error(
                f"{key}-mark",
                gettext("There is a part with the mark %(mark)s already. Give this one its own.")
                % {"mark": mark},
            )
        marks.add(mark)
        size, limit = self.number(f"{key}-size"), self.number(f"{key}-limit")
        if limit is not None and size is None:
            self.add_error(f"{key}-size", gettext("Give its size when new as well, to know what is worn."))
        elif limit is not None and limit == size:
            self.add_error(f"{key}-limit", gettext("This is its size when new. Give the size when worn."))

    def number(self, name: str) -> Decimal | None:
        value = self.cleaned_data.get(name)
        return value if isinstance(value, Decimal) else None

    def mark_of(self, key: str, seat: SeatOfBuild) -> str:
        """The mark of what sits on the place: where only other facts are known, press and place together."""
        typed = self.text_of(f"{key}-mark")
        known = any(self.number(f"{key}-{name}") is not None for name in ("hours", "gauged"))
        return typed or (f"{self.text_of('code')} {seat.name}" if known else "")

    # -------- what is recorded

    def whole(self, on: date) -> WholePress:
        """All of it, not yet saved; `on` is the day."""
        chosen = self.cleaned_data
        types: list[PartType] = []
        return WholePress(
            press=Press(code=self.text_of("code")),
            seats=[self.seat_now(f"s{number}", seat, types, on) for number, seat in self.numbered],
            sources=[
                EnergySource(
                    source=str(each.source),
                    kind=each.kind.value,
                    isolate_at=self.text_of(f"{each.key}-where"),
                    release_by=str(each.release),
                    verify_by=str(each.verify),
                )
                for each in self.proposals
                if chosen.get(f"{each.key}-has")
            ],
            rules=[each.rule(self.build) for each in self.new_rules if each.key in chosen["rules"]],
            crops=[each.crop() for each in self.new_crops if each.key in chosen["crops"]],
            meter_h=self.number("meter_h"),
            confirmed=self.confirmed,
        )

    def seat_now(self, key: str, seat: SeatOfBuild, types: list[PartType], on: date) -> SeatNow:
        """`types` are the part types that this form adds, which several of its seats may share."""
        position = Position(name=seat.name, kind=seat.kind.value, barrel=seat.barrel)
        mark = self.mark_of(key, seat)
        if not mark:
            return SeatNow(position=position)
        edge = str(self.cleaned_data.get(f"{key}-edges") or ONE_EDGE)
        wanted = PartType(
            kind=seat.kind.value,
            size_mm=self.number(f"{key}-size"),
            edges=1 if edge == ONE_EDGE else 2,
            limit_mm=self.number(f"{key}-limit"),
        )
        part_type = type_like(wanted, types, self.reader)
        hours = self.number(f"{key}-hours")
        part = Part(code=mark, part_type=part_type, used_h=hours, used_kg=self.seed_of(hours, seat))
        if part.used_h is not None:
            part.used_on = on
        return SeatNow(
            position=position,
            part=part,
            edge="" if edge == ONE_EDGE else edge,
            gauged_mm=self.number(f"{key}-gauged"),
        )

    def seed_of(self, hours: Decimal | None, seat: SeatOfBuild) -> Decimal | None:
        """Kilograms through the seat in so many hours at the usual pace; half of it in each barrel of a
        twin."""
        pace = self.number("pace")
        if hours is None or pace is None:
            return None
        return (hours * pace / (2 if seat.barrel else 1)).quantize(Decimal("0.001"))


def type_like(wanted: PartType, added: list[PartType], reader: Reader) -> PartType:
    """The type with that kind, size, edges and limit: of those recorded or just added, else a new one, which
    is put with the latter. Without a limit, whichever has the rest."""

    def alike(known: PartType) -> bool:
        same = (known.kind, known.size_mm, known.edges) == (wanted.kind, wanted.size_mm, wanted.edges)
        return same and wanted.limit_mm in (None, known.limit_mm)

    known = [*PartType.objects.filter(kind=wanted.kind), *added]
    found = next((each for each in known if alike(each)), None)
    if found is not None:
        return found
    words = [str(Kind(wanted.kind).label)]
    if wanted.size_mm is not None:
        words.append(units.show_length(wanted.size_mm, reader.system))
    if wanted.edges > 1:
        words.append(gettext("with %(n)s edges") % {"n": wanted.edges})
    name, taken = " ".join(words), {each.code for each in [*PartType.objects.all(), *added]}
    wanted.code = next(
        code for code in (name, *(f"{name} ({n})" for n in range(2, 1000))) if code not in taken
    )
    if wanted.limit_mm is not None:
        wanted.new_mm = wanted.size_mm
    added.append(wanted)
    return wanted
