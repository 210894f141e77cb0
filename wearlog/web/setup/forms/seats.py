"""What sits on the places of a press now: a part's mark, size, edges, the hours it has worked, its gauge."""

from __future__ import annotations

from collections import Counter
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
from wearlog.equipment.kinds import GROUND_BY_SEED, Kind
from wearlog.equipment.models import Part, PartType, Position, Press
from wearlog.logbook.whole_press import SeatNow
from wearlog.service.models import Measurement
from wearlog.service.offered import FOR_KIND
from wearlog.service.work import Action
from wearlog.web.site.fields import MassField, Reader
from wearlog.web.site.forms import EntryForm, FormArguments
from wearlog.web.site.model_fields import of

ONE_EDGE = "1"
EDGES = ((ONE_EDGE, _("one")), ("A", _("A of two")), ("B", _("B of two")))


FACTS = ("mark", "size", "edges", "hours", "gauged", "limit")
"""What is asked about a place, in the order of the page."""


def keys_of(numbered: Sequence[tuple[int, SeatOfBuild]]) -> list[str]:
    """The name of each place in the form, such as `die-1`: the first die of each build has the same one, so
    that what was typed goes with it to another build."""
    counted: Counter[Kind] = Counter()
    keys = []
    for _number, seat in numbered:
        counted[seat.kind] += 1
        keys.append(f"{seat.kind.value}-{counted[seat.kind]}")
    return keys


@dataclass(frozen=True)
class SeatRow:
    """A place on the page: its number in the drawing, its name in the form, and its questions, each with the
    fact it asks for. `wears`: by the seed it takes."""

    number: int
    key: str
    seat: SeatOfBuild
    facts: Sequence[tuple[str, BoundField]]
    wears: bool

    @property
    def names(self) -> list[str]:
        """The names of its fields in the form."""
        return [field.name for _fact, field in self.facts]

    @property
    def answered(self) -> bool:
        """Whether something was typed here, or is wrong."""
        return any(field.errors or (field.data and field.data != ONE_EDGE) for _fact, field in self.facts)


@dataclass(frozen=True)
class AlikeSeats:
    """Places of one kind: a phone shows the first of them, and folds the others."""

    first: SeatRow
    others: Sequence[SeatRow]

    @property
    def open(self) -> bool:
        return any(row.answered for row in self.others)


class SeatsForm(EntryForm):
    """Questions about what sits on each of some places. A subclass says which press they are on."""

    pace = MassField(label=_("Usual seed in an hour"))

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        numbered: Sequence[tuple[int, SeatOfBuild]],
        **more: Unpack[FormArguments],
    ) -> None:
        self.numbered = numbered
        self.places = dict(zip(keys_of(numbered), (seat for _number, seat in numbered), strict=True))
        super().__init__(data, reader=reader, **more)

    def take_reader(self, reader: Reader) -> None:
        for key, seat in self.places.items():
            self.ask_of(key, seat)
        super().take_reader(reader)

    def press_name(self) -> str:
        """What the press is called, from which unmarked parts get their marks."""
        raise NotImplementedError

    def position_of(self, seat: SeatOfBuild) -> Position:
        """The place, saved or not."""
        return Position(name=seat.name, kind=seat.kind.value, barrel=seat.barrel)

    def ask_of(self, key: str, seat: SeatOfBuild) -> None:
        """Add the questions about what sits on a place; fewer where seed doesn't wear it."""
        self.fields[f"{key}-mark"] = of(Part, "code", required=False, label=_("Mark"))
        if seat.kind in GROUND_BY_SEED:
            self.fields[f"{key}-size"] = of(PartType, "size_mm")
            if Action.FLIP in FOR_KIND[seat.kind]:
                self.fields[f"{key}-edges"] = forms.ChoiceField(
                    label=_("Edge at work"), choices=EDGES, required=False
                )
        self.fields[f"{key}-hours"] = of(Part, "used_h", label=_("Hours so far"), help_text="")
        if seat.kind in GROUND_BY_SEED:
            self.fields[f"{key}-gauged"] = of(
                Measurement, "value_mm", required=False, label=_("Gauged today"), help_text=""
            )
            self.fields[f"{key}-limit"] = of(PartType, "limit_mm", label=_("Worn out at"), help_text="")

    def summary(self) -> list[tuple[str, str]]:
        """Every error with the place that it is about: `Die: Hours so far: ...`."""
        about = {self[name].auto_id: row.seat.name for row in self.seat_rows() for name in row.names}
        lines = super().summary()
        return [
            (target, f"{about[target].capitalize()}: {text}" if target in about else text)
            for target, text in lines
        ]

    def seat_rows(self) -> list[SeatRow]:
        return [
            SeatRow(
                number,
                key,
                seat,
                [(fact, self[f"{key}-{fact}"]) for fact in FACTS if f"{key}-{fact}" in self.fields],
                seat.kind in GROUND_BY_SEED,
            )
            for (number, _seat), (key, seat) in zip(self.numbered, self.places.items(), strict=True)
        ]

    def wearing(self) -> list[AlikeSeats]:
        """Places that seed wears, those of one kind together."""
        by_kind: dict[Kind, list[SeatRow]] = {}
        for row in self.seat_rows():
            if row.wears:
                by_kind.setdefault(row.seat.kind, []).append(row)
        return [AlikeSeats(rows[0], rows[1:]) for rows in by_kind.values()]

    def others(self) -> list[SeatRow]:
        return [row for row in self.seat_rows() if not row.wears]

    def others_open(self) -> bool:
        """Whether one of the others was answered, or has an error."""
        return any(row.answered for row in self.others())

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        marks: set[str] = set()
        for key, seat in self.places.items():
            self.clean_seat(key, self.mark_of(key, seat), marks)
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
        return typed or (f"{self.press_name()} {seat.name}" if known else "")

    def seats_now(self, on: date) -> list[SeatNow]:
        """Each place with what sits there, not yet saved; `on` is the day."""
        types: list[PartType] = []
        return [self.seat_now(key, seat, types, on) for key, seat in self.places.items()]

    def seat_now(self, key: str, seat: SeatOfBuild, types: list[PartType], on: date) -> SeatNow:
        """`types` are the part types that this form adds, which several of its seats may share."""
        position = self.position_of(seat)
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


class EmptySeatsForm(SeatsForm):
    """What sits on those places of a press where nothing is recorded."""

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        press: Press,
        positions: Sequence[Position],
    ) -> None:
        self.press = press
        self.positions = {position.name: position for position in positions}
        numbered = [
            (number, SeatOfBuild(position.name, Kind(position.kind), position.barrel))
            for number, position in enumerate(positions, start=1)
        ]
        super().__init__(data, reader=reader, numbered=numbered)

    def press_name(self) -> str:
        return self.press.code

    def position_of(self, seat: SeatOfBuild) -> Position:
        return self.positions[seat.name]
