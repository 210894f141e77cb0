"""Marks on due items, and a person's wishes about reminders."""

from __future__ import annotations

import zoneinfo
from collections.abc import Mapping
from datetime import time
from typing import Unpack

from django import forms
from django.utils.translation import gettext_lazy as _

from wearlog.people.models import User
from wearlog.people.roles import Permission, allows
from wearlog.reminders.models import EVERY_DAY, Mark, ReminderWish, Rhythm
from wearlog.web.site.fields import FieldArguments, Reader, pills
from wearlog.web.site.forms import EntryForm, FormArguments, ModelForm, UnitsForm
from wearlog.web.site.model_fields import Described, of

WEEKDAYS = (
    ("1", _("Mon")),
    ("2", _("Tue")),
    ("3", _("Wed")),
    ("4", _("Thu")),
    ("5", _("Fri")),
    ("6", _("Sat")),
    ("7", _("Sun")),
)


class HoldForm(EntryForm):
    until_on = of(Mark, "until_on")
    reason = of(Mark, "reason", widget=forms.Textarea(attrs={"rows": 2}))


class GiveForm(EntryForm):
    person = of(
        Mark, "given_to", forms.ModelChoiceField, queryset=User.objects.none(), empty_label=_("choose")
    )

    def __init__(
        self, data: Mapping[str, object] | None, *, reader: Reader, **more: Unpack[FormArguments]
    ) -> None:
        super().__init__(data, reader=reader, **more)
        people = User.objects.filter(is_active=True).order_by("name", "username")
        may_log = [person.pk for person in people if allows(person, Permission.LOG)]
        self.field("person", forms.ModelChoiceField).queryset = people.filter(pk__in=may_log)


def clock_time(**words: Unpack[FieldArguments]) -> forms.TimeField:
    """A time of day, chosen by the browser's time picker or typed as 06:30."""
    words["widget"] = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    words["error_messages"] = {"invalid": _("Write a time like 06:30.")}
    return forms.TimeField(input_formats=["%H:%M", "%H:%M:%S", "%H.%M", "%H"], **words)


class WishForm(UnitsForm, ModelForm[ReminderWish]):
    from_time = of(ReminderWish, "from_time", clock_time, required=False)
    quiet_from = of(ReminderWish, "quiet_from", clock_time)
    quiet_until = of(ReminderWish, "quiet_until", clock_time)
    weekdays = of(
        ReminderWish,
        "weekdays",
        forms.MultipleChoiceField,
        choices=WEEKDAYS,
        required=False,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "pill"}),
    )
    most_at_once = of(ReminderWish, "most_at_once", widget=forms.NumberInput(attrs={"inputmode": "numeric"}))
    time_zone = of(ReminderWish, "time_zone", forms.ChoiceField)

    class Meta(Described):
        model = ReminderWish
        fields = (
            "rhythm",
            "from_time",
            "weekdays",
            "quiet_from",
            "quiet_until",
            "urgent_any_time",
            "most_at_once",
            "time_zone",
        )
        widgets = {"rhythm": pills()}

    def __init__(self, data: Mapping[str, object] | None, *, reader: Reader, instance: ReminderWish) -> None:
        super().__init__(data, instance=instance)
        self.field("rhythm", forms.ChoiceField).choices = Rhythm.choices
        known = sorted(zoneinfo.available_timezones() | ({instance.time_zone} - {""}))
        zones = [("", _("the mill's")), *((name, name) for name in known)]
        self.field("time_zone", forms.ChoiceField).choices = zones
        self.initial["weekdays"] = list(instance.weekdays or EVERY_DAY)
        self.take_reader(reader)

    def clean_weekdays(self) -> str:
        return "".join(sorted(self.cleaned_data.get("weekdays") or []))

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or self.cleaned_data
        ends = [cleaned.get("quiet_from"), cleaned.get("quiet_until")]
        if "quiet_from" in cleaned and "quiet_until" in cleaned and ends.count(None) == 1:
            name = "quiet_from" if ends[0] is None else "quiet_until"
            self.add_error(name, _("Quiet hours need a beginning and an end; leave both empty for none."))
        return cleaned

    def clean_from_time(self) -> time:
        typed = self.cleaned_data.get("from_time")
        if not isinstance(typed, time):
            raise forms.ValidationError(_("Write a time like 06:30."))
        return typed
