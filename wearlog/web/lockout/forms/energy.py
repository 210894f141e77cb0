"""The form for energy sources from proposals: each one is ticked and completed with its isolation point."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django import forms
from django.forms import BoundField
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Press
from wearlog.lockout.models import EnergySource
from wearlog.lockout.starting import Proposal, say_where, tick_it
from wearlog.web.site.fields import Reader
from wearlog.web.site.forms import EntryForm
from wearlog.web.site.model_fields import of

WRITTEN = ("source", "isolate_at", "release_by", "verify_by")


@dataclass(frozen=True)
class ProposedRow:
    """One proposal on the page: its checkbox and four text fields."""

    proposal: Proposal
    use: BoundField
    fields: Sequence[BoundField]
    open: bool


class EnergyStartForm(EntryForm):
    """A checkbox and texts for every proposal. A ticked row without an isolation point is refused."""

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        proposals: Sequence[Proposal],
        taken: Iterable[str],
    ) -> None:
        self.proposals = proposals
        self.taken = {name.casefold() for name in taken}
        super().__init__(data, reader=reader)

    def take_reader(self, reader: Reader) -> None:
        for each in self.proposals:
            self.fields[f"{each.key}-use"] = forms.BooleanField(label=each.source, required=False)
            self.fields[f"{each.key}-source"] = of(
                EnergySource, "source", initial=each.source, required=False, help_text=""
            )
            self.fields[f"{each.key}-isolate_at"] = of(
                EnergySource,
                "isolate_at",
                label=_("Isolated or held at"),
                help_text=each.where,
                widget=two_lines(),
            )
            self.fields[f"{each.key}-release_by"] = of(
                EnergySource, "release_by", initial=each.release, widget=two_lines()
            )
            self.fields[f"{each.key}-verify_by"] = of(
                EnergySource, "verify_by", initial=each.verify, widget=two_lines()
            )
        super().take_reader(reader)

    def rows(self) -> list[ProposedRow]:
        return [
            ProposedRow(
                proposal=each,
                use=self[f"{each.key}-use"],
                fields=[self[f"{each.key}-{name}"] for name in WRITTEN],
                open=bool(self[f"{each.key}-use"].value())
                or any(self[f"{each.key}-{name}"].errors for name in WRITTEN),
            )
            for each in self.proposals
        ]

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        used = [each for each in self.proposals if cleaned.get(f"{each.key}-use")]
        named: set[str] = set(self.taken)
        for each in self.proposals:
            place = self.text_of(f"{each.key}-isolate_at")
            if each in used and not place:
                self.add_error(f"{each.key}-isolate_at", say_where(str(each.source)))
            if each not in used and place:
                self.add_error(f"{each.key}-use", tick_it())
        for each in used:
            name = self.text_of(f"{each.key}-source").casefold()
            if not name:
                self.add_error(f"{each.key}-source", _("Give it a name."))
            elif name in named:
                self.add_error(
                    f"{each.key}-source", _("This press has a source of that name. Give it another.")
                )
            named.add(name)
        if not used and not self.errors:
            self.add_error(None, _("Nothing is ticked. Tick each source that this press has."))
        return cleaned

    def sources(self, press: Press) -> list[EnergySource]:
        """The ticked rows as sources of the press, not yet saved."""
        return [
            EnergySource(
                press=press,
                kind=each.kind.value,
                **{name: self.text_of(f"{each.key}-{name}") for name in WRITTEN},
            )
            for each in self.proposals
            if self.cleaned_data.get(f"{each.key}-use")
        ]


def two_lines() -> forms.Textarea:
    return forms.Textarea(attrs={"rows": 2})
