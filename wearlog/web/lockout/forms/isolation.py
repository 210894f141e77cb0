"""Forms for the statements of people about locks: put on, taken off, handed over."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Unpack

from django import forms
from django.db.models import QuerySet
from django.forms import BoundField
from django.utils.translation import gettext_lazy as _

from wearlog.lockout.cautions.steps import RELEASE
from wearlog.lockout.isolation.actions import NewLock
from wearlog.lockout.isolation.rules import Person
from wearlog.lockout.models import EnergySource, Isolation, Lock
from wearlog.people.models import User
from wearlog.web.site.fields import FieldArguments, Reader
from wearlog.web.site.forms import EntryForm, new_ref
from wearlog.web.site.isolations import lock_label
from wearlog.web.site.model_fields import of

if TYPE_CHECKING:
    from wearlog.people.fields import Words

OTHER = "other"


@dataclass(frozen=True)
class SourceRow:
    """One source on the page: its checkbox, the lock's number, and how zero energy was verified."""

    name: str
    point: str
    use: BoundField
    fields: Sequence[BoundField]


def line(words: Words, length: int = 255, **how: Unpack[FieldArguments]) -> forms.CharField:
    how.setdefault("required", False)
    how["label"] = words
    return forms.CharField(max_length=length, **how)


class NamesSomebody(EntryForm):
    """Adds collapsed fields for a person without an account."""

    def named(self) -> Person | None:
        name = self.text_of("name")
        return Person(name=name, firm=self.text_of("firm")) if name else None


class LockOnForm(NamesSomebody):
    """`sources` are those of the press; `joins`: an isolation is already in progress; `numbers` are the locks
    that the person last fitted, by the source's primary key."""

    ref = of(Isolation, "ref", widget=forms.HiddenInput)
    work = of(Isolation, "work", required=False)
    lead = of(Isolation, "lead", required=False)
    name = line(
        _("Lock of somebody without an account"), 120, help_text=_("A contractor, a helper: by name.")
    )
    firm = line(_("Their firm"), 120)

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        sources: Sequence[tuple[EnergySource, str]],
        numbers: dict[int, str],
        joins: bool,
        user: User,
    ) -> None:
        self.sources, self.numbers, self.joins = sources, numbers, joins
        super().__init__(data, reader=reader, initial={"ref": new_ref(), "lead": str(user)})

    def take_reader(self, reader: Reader) -> None:
        for source, _point in self.sources:
            self._row(str(source.pk), self.numbers.get(source.pk, ""), source.verify_by)
        self._row(OTHER, "", "")
        self.fields["source_name"] = of(
            Lock,
            "source_name",
            required=False,
            help_text=_("A switch, valve or plug that is not in the list above."),
        )
        if self.joins:
            del self.fields["work"], self.fields["lead"]
        super().take_reader(reader)

    def _row(self, key: str, number: str, how: str) -> None:
        self.fields[f"use-{key}"] = forms.BooleanField(label=_("My lock is on"), required=False)
        self.fields[f"number-{key}"] = of(Lock, "number", required=False, initial=number)
        self.fields[f"verified-{key}"] = forms.BooleanField(label=_("I verified it"), required=False)
        self.fields[f"how-{key}"] = of(Lock, "verified_how", label=_("How"), initial=how)

    def rows(self) -> list[SourceRow]:
        return [self._bound(str(source.pk), source.source, point) for source, point in self.sources]

    def other(self) -> SourceRow:
        return self._bound(OTHER, "", "")

    def _bound(self, key: str, name: str, point: str) -> SourceRow:
        return SourceRow(
            name=name,
            point=point,
            use=self[f"use-{key}"],
            fields=[self[f"{part}-{key}"] for part in ("number", "verified", "how")],
        )

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        keys = [*(str(source.pk) for source, _point in self.sources), OTHER]
        for key in keys:
            if cleaned.get(f"verified-{key}") and not self.text_of(f"how-{key}"):
                self.add_error(
                    f"how-{key}", _("Write how you verified it: what you tried, and what happened.")
                )
            if cleaned.get(f"verified-{key}") and not cleaned.get(f"use-{key}"):
                self.add_error(f"use-{key}", _("You verified it. Tick your lock too, or untick that."))
        if cleaned.get(f"use-{OTHER}") and not self.text_of("source_name"):
            self.add_error("source_name", _("Say what the lock is on."))
        return cleaned

    def locks(self) -> list[NewLock]:
        """The locks of the ticked rows."""
        found = [
            self._new(str(source.pk), source_id=source.pk)
            for source, _point in self.sources
            if self.cleaned_data.get(f"use-{source.pk}")
        ]
        if self.cleaned_data.get(f"use-{OTHER}"):
            found.append(self._new(OTHER, source_name=self.text_of("source_name")))
        return found

    def _new(self, key: str, *, source_id: int | None = None, source_name: str = "") -> NewLock:
        verified = self.text_of(f"how-{key}") if self.cleaned_data.get(f"verified-{key}") else ""
        return NewLock(
            number=self.text_of(f"number-{key}"),
            source_id=source_id,
            source_name=source_name,
            verified_how=verified,
        )


def steps_field(names: Collection[str], label: Words) -> forms.MultipleChoiceField:
    """Checkboxes for the steps before a restart, each to be ticked once it is done."""
    return forms.MultipleChoiceField(
        label=label,
        choices=[(step.name, step.clause) for step in RELEASE if step.name in names],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )


def locks_field(locks: Sequence[Lock], label: Words) -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(
        label=label,
        choices=[(str(lock.pk), lock_label(lock)) for lock in locks],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )


class LockOffForm(EntryForm):
    def __init__(self, data: Mapping[str, object] | None, *, reader: Reader, locks: Sequence[Lock]) -> None:
        self.choices = locks
        super().__init__(data, reader=reader, initial={"why": "self"})

    def take_reader(self, reader: Reader) -> None:
        self.fields["locks"] = locks_field(self.choices, _("Which lock is off"))
        self.fields["why"] = forms.ChoiceField(
            label=_("Why"),
            choices=[("self", _("My work here is done")), ("test", _("For a test under power"))],
            widget=forms.RadioSelect,
        )
        self.fields["stated"] = steps_field(
            ("look", "clear"), _("With the last lock of the press: tick what is done")
        )
        super().take_reader(reader)

    def lock_ids(self) -> list[int]:
        return [int(key) for key in self.cleaned_data["locks"]]


class HandOverForm(NamesSomebody):
    to = forms.ModelChoiceField(
        label=_("Who takes over"), queryset=User.objects.none(), required=False, empty_label="…"
    )
    name = line(_("Or somebody without an account"), 120, help_text=_("A contractor, a helper: by name."))
    firm = line(_("Their firm"), 120)

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        locks: Sequence[Lock],
        people: QuerySet[User],
    ) -> None:
        self.choices = locks
        self.people = people
        super().__init__(data, reader=reader)

    def take_reader(self, reader: Reader) -> None:
        self.field("to", forms.ModelChoiceField).queryset = self.people
        self.fields["locks"] = locks_field(self.choices, _("Which locks"))
        for lock in self.choices:
            self.fields[f"number-{lock.pk}"] = line(
                _("%(source)s: number on the other's lock") % {"source": lock.source_name}, 60
            )
        self.order_fields(["locks", *(f"number-{lock.pk}" for lock in self.choices), "to", "name", "firm"])
        super().take_reader(reader)

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        for key in cleaned.get("locks", ()):
            if not self.text_of(f"number-{key}"):
                self.add_error(f"number-{key}", _("Write the number on the lock that is on now."))
        if cleaned.get("to") and self.text_of("name"):
            self.add_error("name", _("Choose somebody above, or write a name here, not both."))
        return cleaned

    def numbers(self) -> dict[int, str]:
        return {int(key): self.text_of(f"number-{key}") for key in self.cleaned_data["locks"]}


class EndForm(EntryForm):
    def take_reader(self, reader: Reader) -> None:
        self.fields["stated"] = steps_field([step.name for step in RELEASE], _("Tick each once it is done"))
        super().take_reader(reader)


class ForAnotherForm(EntryForm):
    reason = of(Lock, "reason", required=True)
    not_here = of(Lock, "not_here", required=True)
    contact = of(Lock, "contact", required=True)

    def take_reader(self, reader: Reader) -> None:
        self.fields["stated"] = steps_field(
            ("look", "clear"), _("Before the lock comes off: tick what is done")
        )
        super().take_reader(reader)


class VerifyForm(EntryForm):
    how = of(Lock, "verified_how", required=True)


class LockCorrectForm(EntryForm):
    number = of(Lock, "number")
    place = of(Lock, "place")
    firm = of(Lock, "firm")
    reason = line(_("Why it changes"), required=True)
