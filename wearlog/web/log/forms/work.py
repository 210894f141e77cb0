"""The form for work at a press: what was done, to which part and edge, with gauges before and after where
applicable."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Unpack

from django import forms
from django.forms import BoundField
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.calc import units
from wearlog.equipment.models import Fitting, Part
from wearlog.logbook.entries import NewMeasurement, NewWork
from wearlog.people.fields import quantity_of
from wearlog.people.words import day as in_figures
from wearlog.service.models import Measurement, Phase, Service
from wearlog.service.work import ACTIONS, Action, Gauged
from wearlog.web.log.forms.photos import photos
from wearlog.web.log.forms.spares import SpareForm
from wearlog.web.site.fields import NumberField, Reader, pills
from wearlog.web.site.forms import FormArguments, new_ref
from wearlog.web.site.known import EdgeUse, Spare
from wearlog.web.site.model_fields import of, when

if TYPE_CHECKING:
    from wearlog.people.fields import Words

ROWS = 4
"""How many places one entry can gauge, such as the numbered flights of a screw. The first row is open."""


def gauge_words(part: Part, edges: Sequence[EdgeUse], edge: str, reader: Reader) -> str:
    """`Bore: new 5.00 mm, limit 5.40 mm. Last 5.12 mm on 2026-03-01.`"""
    kind = part.part_type
    sentence = []
    if kind.new_mm is not None:
        sentence.append(gettext("new %s") % units.show_length(kind.new_mm, reader.system))
    if kind.limit_mm is not None:
        sentence.append(gettext("limit %s") % units.show_length(kind.limit_mm, reader.system))
    words = ", ".join(sentence)
    if words:
        words = f"{kind.dimension}: {words}." if kind.dimension else f"{words[0].upper()}{words[1:]}."
    last = next((each.last for each in edges if each.edge == edge), None)
    if last is not None:
        words += " " + gettext("Last %(value)s on %(day)s.") % {
            "value": units.show_length(last.value_mm, reader.system),
            "day": in_figures(last.measured_at.astimezone(reader.zone).date()),
        }
    return words.strip()


def edge_label(edge: EdgeUse, reader: Reader) -> str:
    words = gettext("edge %s") % edge.edge if edge.edge else gettext("its one edge")
    if not edge.used:
        return words + ", " + gettext("unused")
    if edge.last is None:
        return words + ", " + gettext("used before")
    size = units.show_length(edge.last.value_mm, reader.system)
    return words + ", " + gettext("used before, last %(size)s") % {"size": size}


class WorkForm(SpareForm):
    """The fields depend on the action: `flip` has the edge, `replace` the spare, gauging the values."""

    ref = of(Service, "ref", widget=forms.HiddenInput)
    press = forms.IntegerField(widget=forms.HiddenInput)
    position = forms.IntegerField(widget=forms.HiddenInput, required=False)
    fitting = forms.IntegerField(widget=forms.HiddenInput, required=False)
    action = of(Service, "action", widget=forms.HiddenInput)
    rule = forms.IntegerField(widget=forms.HiddenInput, required=False)
    to_edge = forms.ChoiceField(label=_("Turn to"), widget=pills())
    old_part_retired_because = of(
        Part,
        "retired_because",
        label=_("What came off"),
        empty=_("goes on the shelf"),
        widget=pills(),
    )
    finding = of(Service, "finding", widget=forms.Textarea(attrs={"rows": 2}))
    bound = of(Measurement, "bound", empty=_("the value itself"), widget=pills())
    gauge = of(Measurement, "gauge")
    done_at = when(Service, "done_at")
    done_by = of(Service, "done_by")
    downtime_h = of(Service, "downtime_h")
    labour_h = of(Service, "labour_h")
    cost = of(Service, "cost")
    note = of(Service, "note")
    photo = photos()

    aliases = {
        "expected_fitting_id": "fitting",
        "new_part": "new",
        "new_part_id": "new",
        "new_edge": "new",
        "moved_at": "done_at",
        "value_mm": "value_0",
    }

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        action: Action,
        fitting: Fitting | None,
        edges: Sequence[EdgeUse] = (),
        next_edge: str = "",
        spares: Sequence[Spare] = (),
        currency: str = "",
        **more: Unpack[FormArguments],
    ) -> None:
        super().__init__(data, reader=reader, **more)
        self.chosen = action
        self.fields["ref"].initial = new_ref()
        self.field("cost", NumberField).unit = currency
        self._shape_move(action, fitting, edges, next_edge, spares)
        self._shape_gauges(action, fitting, edges)
        # For the fields added after the base class had called it.
        self.take_reader(reader)

    def _shape_move(
        self,
        action: Action,
        fitting: Fitting | None,
        edges: Sequence[EdgeUse],
        next_edge: str,
        spares: Sequence[Spare],
    ) -> None:
        if action == Action.FLIP and fitting is not None:
            others = [edge for edge in edges if edge.edge != fitting.edge]
            self.field("to_edge", forms.ChoiceField).choices = [
                (edge.edge, edge_label(edge, self.reader)) for edge in others
            ]
            self.fields["to_edge"].initial = next_edge
        else:
            del self.fields["to_edge"]
        if action == Action.REPLACE:
            self.offer(spares)
        else:
            del self.fields["new"], self.fields["new_mark"], self.fields["old_part_retired_because"]

    def _shape_gauges(self, action: Action, fitting: Fitting | None, edges: Sequence[EdgeUse]) -> None:
        self.columns: tuple[tuple[str, str, Words], ...] = ()
        self.gauge_words = ""
        work = ACTIONS[action]
        if fitting is not None and work.gauged is Gauged.BEFORE_AND_AFTER:
            self.columns = (
                ("before", Phase.BEFORE, _("Before")),
                ("after", Phase.AFTER, _("After")),
            )
        elif fitting is not None and work.gauged is Gauged.ONCE:
            measured = quantity_of(Measurement, "value_mm").verbose_name
            self.columns = (("value", "", _("Gauge of what came off") if work.moves else measured),)
        if not self.columns:
            del self.fields["bound"], self.fields["gauge"]
            return
        if fitting is not None:
            self.gauge_words = gauge_words(fitting.part, edges, fitting.edge, self.reader)
        for row in range(ROWS):
            for name, _phase, label in self.columns:
                self.fields[f"{name}_{row}"] = of(Measurement, "value_mm", label=label, required=False)
            self.fields[f"place_{row}"] = of(
                Measurement,
                "place",
                help_text="",
                widget=forms.TextInput(attrs={"placeholder": _("flight 3")}),
            )
            if self.gauge_words:
                self.fields[f"{self.columns[0][0]}_{row}"].widget.attrs["aria-describedby"] = "gauge-words"

    @property
    def first_gauges(self) -> list[BoundField]:
        return [self[f"{name}_0"] for name, _phase, _label in self.columns]

    def more_gauges(self) -> list[list[BoundField]]:
        """The place of the first row, then the further rows, each with its place."""
        if not self.columns:
            return []
        rows = [[self["place_0"]]]
        rows += [
            [self[f"place_{row}"], *(self[f"{name}_{row}"] for name, _phase, _label in self.columns)]
            for row in range(1, ROWS)
        ]
        return rows

    @property
    def gauges_open(self) -> bool:
        names = [field.name for row in self.more_gauges() for field in row] + ["bound", "gauge"]
        return self.is_bound and any(self.data.get(name) or name in self.errors for name in names)

    def folded(self) -> list[BoundField]:
        return [self[name] for name in ("done_at", "done_by", "downtime_h", "labour_h", "cost", "note")]

    @property
    def folded_open(self) -> bool:
        doubted = {doubt.field for doubt in self.doubts}
        return any(field.errors or field.name in doubted for field in self.folded()) or (
            self.is_bound
            and any(self.data.get(name) for name in ("done_at", "downtime_h", "labour_h", "cost", "note"))
        )

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        if self.chosen == Action.MEASURE and self.columns and not self.errors and not self.measurements():
            self.add_error("value_0", _("Write what you measured."))
        return cleaned

    def measurements(self) -> list[NewMeasurement]:
        value = self.cleaned_data
        found = []
        for row in range(ROWS if self.columns else 0):
            for name, phase, _label in self.columns:
                number: Decimal | None = value.get(f"{name}_{row}")
                if number is not None:
                    found.append(
                        NewMeasurement(
                            value_mm=number,
                            place=self.text_of(f"place_{row}"),
                            bound=self.text_of("bound"),
                            phase=phase,
                            gauge=self.text_of("gauge"),
                        )
                    )
        return found

    def entry(self, *, now: datetime, by_name: str, fitting: Fitting | None) -> NewWork:
        value = self.cleaned_data
        new_part, new_edge = self.chosen_spare()
        return NewWork(
            press_id=value["press"],
            action=value["action"],
            done_at=self.at_or("done_at", now),
            position_id=value.get("position"),
            expected_fitting_id=fitting.pk if fitting else None,
            part_id=fitting.part_id if fitting else None,
            edge=fitting.edge if fitting else "",
            to_edge=self.text_of("to_edge"),
            new_part_id=new_part,
            new_edge=new_edge,
            old_part_retired_because=self.text_of("old_part_retired_because"),
            rule_id=value.get("rule"),
            finding=self.text_of("finding"),
            downtime_h=value.get("downtime_h"),
            labour_h=value.get("labour_h"),
            cost=value.get("cost"),
            done_by=self.text_of("done_by") or by_name,
            note=self.text_of("note"),
            ref=self.text_of("ref"),
            measurements=tuple(self.measurements()),
        )
