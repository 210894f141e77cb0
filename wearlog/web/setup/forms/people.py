"""People, a person's own settings, and the mill."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterable, Mapping

from django import forms
from django.utils.translation import gettext_lazy as _

from wearlog.people.models import Mill, Role, Units, User, languages
from wearlog.web.setup.forms.things import ThingForm
from wearlog.web.site.fields import Reader, pills
from wearlog.web.site.forms import EntryForm, ModelForm, UnitsForm
from wearlog.web.site.model_fields import Described, of

ROLE_WORDS = {
    Role.VIEWER: _("viewer: reads"),
    Role.OPERATOR: _("operator: logs runs and work"),
    Role.MAINTAINER: _("maintainer: also parts, rules, energy sources, corrections"),
    Role.OWNER: _("owner: also people, prices, plan, settings"),
}


class PersonForm(ThingForm[User]):
    class Meta(Described):
        model = User
        fields = ("name", "username", "email", "role", "units", "language", "gets_mail", "is_active")
        widgets = {"role": pills()}

    def shape(self) -> None:
        self.field("role", forms.ChoiceField).choices = [(role.value, ROLE_WORDS[role]) for role in Role]
        self.fields["name"].required = True
        if self.instance.pk is None:
            del self.fields["is_active"]
        set_units(self)
        set_language(self)


FIRST_PASSWORD = _(
    "Leave it empty to change nothing. Without a password you sign in by a link; a first password can be set "
    "within fifteen minutes of that."
)
NOT_FRESH = _(
    "You signed in by a link more than fifteen minutes ago. To set a first password, sign in by a new link: "
    "an owner of the mill makes one, on the page People."
)


class MeForm(UnitsForm, ModelForm[User]):
    """One's own name, mail and units, and a password where one is wanted."""

    new_password = forms.CharField(
        label=_("New password"),
        required=False,
        strip=False,
        max_length=200,
        help_text=_("Leave it empty to change nothing. Without a password you sign in by a link."),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label=_("New password again"),
        required=False,
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    old_password = forms.CharField(
        label=_("Password until now"),
        required=False,
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    aliases = {"password": "new_password"}

    class Meta(Described):
        model = User
        fields = ("name", "email", "units", "language", "gets_mail")
        labels = {"gets_mail": _("I get reminders by mail")}

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        instance: User,
        fresh_from_link: bool,
    ) -> None:
        super().__init__(data, instance=instance)
        self.fresh_from_link = fresh_from_link
        if not self.instance.has_usable_password():
            del self.fields["old_password"]
            self.fields["new_password"].help_text = FIRST_PASSWORD
        set_units(self)
        set_language(self)
        self.take_reader(reader)

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or self.cleaned_data
        new = cleaned.get("new_password")
        if not new:
            return cleaned
        if cleaned.get("again") != new:
            self.add_error("again", _("This is not the same. Type the new password twice."))
        if "old_password" not in self.fields and not self.fresh_from_link:
            self.add_error("new_password", NOT_FRESH)
        if "old_password" in self.fields and not self.instance.check_password(
            cleaned.get("old_password") or ""
        ):
            self.add_error("old_password", _("This is not your password until now. Type it again."))
        return cleaned


def by_region(zones: Iterable[str]) -> list[tuple[str, list[tuple[str, str]]]]:
    """Time zones to choose from, by region: `Vienna` under `Europe`; what names no place is last."""
    regions: dict[str, list[tuple[str, str]]] = {}
    for zone in sorted(zones):
        region, _slash, place = zone.partition("/")
        named = place and region not in ("Etc", "SystemV")
        words = ", ".join(place.replace("_", " ").split("/")) if named else zone
        regions.setdefault(region if named else "", []).append((zone, words))
    others = regions.pop("", [])
    return [*regions.items(), *([(str(_("Others")), others)] if others else [])]


class MillForm(UnitsForm, ModelForm[Mill]):
    time_zone = of(Mill, "time_zone", forms.ChoiceField, required=True)

    class Meta(Described):
        model = Mill
        fields = ("name", "time_zone", "currency", "units", "language", "late_orders_pct", "enough_dies_pct")

    def __init__(self, data: Mapping[str, object] | None, *, reader: Reader, instance: Mill) -> None:
        super().__init__(data, instance=instance)
        zones = zoneinfo.available_timezones() | {instance.time_zone}
        self.field("time_zone", forms.ChoiceField).choices = by_region(zones)
        units = self.field("units", forms.ChoiceField)
        units.widget = pills()
        units.choices = Units.choices
        self.initial["units"] = instance.units or Units.METRIC
        language = self.field("language", forms.ChoiceField)
        language.required = False
        language.widget = pills()
        language.choices = languages()
        self.take_reader(reader)

    def clean_language(self) -> str:
        return str(self.cleaned_data["language"] or self.instance.language)


def set_units(form: UnitsForm) -> None:
    field = form.field("units", forms.ChoiceField)
    field.required = False
    field.widget = pills()
    field.choices = [("", _("the mill's")), *Units.choices]


def set_language(form: UnitsForm) -> None:
    field = form.field("language", forms.ChoiceField)
    field.required = False
    field.widget = pills()
    field.choices = [("", _("the mill's")), *languages()]


class ImportForm(EntryForm):
    file = forms.FileField(
        label=_("Logbook (.zip)"),
        help_text=_("A .zip of the CSV files that the logbook's description names."),
        error_messages={"required": _("Choose a .zip file.")},
    )
    on_conflict = forms.ChoiceField(
        label=_("Where a record is here already with other content"),
        required=False,
        choices=[
            ("", _("refuse everything and list it")),
            ("keep", _("keep what is here")),
            ("replace", _("take what the file says")),
        ],
        widget=forms.RadioSelect,
    )

    @property
    def dry_run(self) -> bool:
        return "store" not in self.data
