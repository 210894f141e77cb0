"""The form that sets up a press in one go: what it is, what sits on it, where it is locked, its rules."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Unpack

from django import forms
from django.forms import BoundField
from django.forms.boundfield import BoundWidget
from django.forms.utils import ErrorDict
from django.http import QueryDict
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.builds import SeatOfBuild
from wearlog.equipment.kinds import Build
from wearlog.equipment.models import Press
from wearlog.lockout.models import EnergySource
from wearlog.lockout.starting import Proposal, proposals_for, say_where, tick_it
from wearlog.logbook.whole_press import WholePress
from wearlog.runs.models import Crop, Reading
from wearlog.runs.usual_crops import UsualCrop, not_yet
from wearlog.service.models import Rule
from wearlog.service.proposed import ProposedRule, rules_for
from wearlog.web.setup.forms.seats import FACTS, SeatsForm
from wearlog.web.site.fields import Reader
from wearlog.web.site.forms import FormArguments
from wearlog.web.site.model_fields import of
from wearlog.words.rules import trigger_words


@dataclass(frozen=True)
class AskedSource:
    """A proposed energy source: whether the press has it, and where it is isolated."""

    proposal: Proposal
    has: BoundField
    where: BoundField


OF_A_BUILD = re.compile(rf"\w+-\d+-({'|'.join(FACTS)})|\w+-(has|where)")
"""Names of fields that some builds have and others lack."""


COMMONEST = 4
"""So many of the usual crops, which begin with the commonest, are shown at once."""


class WholePressForm(SeatsForm):
    """`build` decides which places are asked for. `for_another_build` takes what was typed along."""

    code = of(Press, "code", help_text=_("As people call it, such as P1 or South press."))
    meter_h = of(Reading, "meter_h", required=False)
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
        self.carried: Sequence[tuple[str, str]] = ()
        self.left_out: Sequence[str] = ()
        self.proposals = proposals_for(build)
        self.recorded_rules = list(Rule.objects.values_list("code", flat=True))
        self.new_rules: Sequence[ProposedRule] = rules_for(build, recorded=self.recorded_rules)
        recorded_crops = list(Crop.objects.values_list("code", flat=True))
        self.new_crops: Sequence[UsualCrop] = not_yet(recorded_crops)
        self.in_sight = 0 if recorded_crops else COMMONEST
        super().__init__(data, reader=reader, numbered=numbered, **more)

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
        for each in self.proposals:
            self.fields[f"{each.key}-has"] = forms.BooleanField(label=each.source, required=False)
            self.fields[f"{each.key}-where"] = of(
                EnergySource, "isolate_at", label=_("Isolated or held at"), help_text=each.where
            )
        super().take_reader(reader)

    def for_another_build(self, typed: QueryDict, before: Build) -> None:
        """Show what was typed on the sheet of the build `before`, none of it checked yet.

        What this build has no place for is carried along unseen, for whoever goes back; so are the rules
        that were unticked, since all others of this build begin ticked.
        """
        typed = typed.copy()
        offered = {each.key for each in rules_for(before, recorded=self.recorded_rules)}
        ticked = set(typed.getlist("rules"))
        left_out = (set(typed.getlist("left_out")) | offered) - ticked
        typed.setlist("rules", [each.key for each in self.new_rules if each.key not in left_out])
        self.data, self.is_bound = typed, True
        self._errors = ErrorDict()
        self.carry(typed)
        self.left_out = sorted(left_out)

    def carry(self, typed: QueryDict) -> None:
        """Keep on the page, unseen, what was typed for places and sources of other builds."""
        self.carried = [
            (name, text)
            for name in typed
            if name not in self.fields and OF_A_BUILD.fullmatch(name)
            for text in typed.getlist(name)
            if text
        ]
        self.left_out = typed.getlist("left_out")

    # -------- what the page shows

    def common_crops(self) -> list[BoundWidget]:
        """Crops that are shown at once: the commonest, in a mill that has none yet."""
        return list(self["crops"])[: self.in_sight]

    def other_crops(self) -> list[BoundWidget]:
        return list(self["crops"])[self.in_sight :]

    def others_ticked(self) -> bool:
        return any(each.data["selected"] for each in self.other_crops())

    def source_rows(self) -> list[AskedSource]:
        return [
            AskedSource(each, self[f"{each.key}-has"], self[f"{each.key}-where"]) for each in self.proposals
        ]

    # -------- what is refused

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        if Press.objects.filter(code=self.text_of("code")).exists():
            self.add_error("code", gettext("There is a press of that name. Give this one another."))
        for each in self.proposals:
            has, where = cleaned.get(f"{each.key}-has"), self.text_of(f"{each.key}-where")
            if has and not where:
                self.add_error(f"{each.key}-where", say_where(str(each.source)))
            if where and not has:
                self.add_error(f"{each.key}-has", tick_it())
        return cleaned

    def press_name(self) -> str:
        return self.text_of("code")

    # -------- what is recorded

    def whole(self, on: date) -> WholePress:
        """All of it, not yet saved; `on` is the day."""
        chosen = self.cleaned_data
        return WholePress(
            press=Press(code=self.text_of("code")),
            seats=self.seats_now(on),
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
