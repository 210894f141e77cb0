"""Fields to choose the part to fit: one of the listed spares, or one by its mark."""

from __future__ import annotations

from collections.abc import Sequence

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.calc import units
from wearlog.web.site.fields import Reader, pills
from wearlog.web.site.forms import EntryForm
from wearlog.web.site.known import Spare, spare_by_mark
from wearlog.words.kinds import mark_words

FEW = 8
"""How many spares are shown as buttons; more are shown as a list, and a mark can be typed instead."""
LISTED = 120


def spare_label(spare: Spare, reader: Reader) -> str:
    """`D5-07 B · die-5 · 5.00 mm · for rapeseed · unused`."""
    kind = spare.part.part_type
    words = [mark_words(spare.part.code, spare.edge), kind.code]
    if kind.size_mm is not None:
        words.append(units.show_length(kind.size_mm, reader.system))
    if kind.for_crops:
        words.append(gettext("for %s") % ", ".join(kind.for_crops.split()))
    words.append(gettext("used before") if spare.used else gettext("unused"))
    return " · ".join(words)


class SpareForm(EntryForm):
    """Subclasses call `offer` with the spares, or remove the two fields where no part is fitted."""

    new = forms.ChoiceField(
        label=_("What goes on"), error_messages={"required": _("Choose the part that goes on.")}
    )
    new_mark = forms.CharField(
        label=_("Or the mark on it"),
        max_length=70,
        required=False,
        help_text=_("The part's mark, and the edge where it has several: D5-07 B."),
    )

    def offer(self, spares: Sequence[Spare]) -> None:
        field = self.field("new", forms.ChoiceField)
        labels = [(spare.value, spare_label(spare, self.reader)) for spare in spares]
        if len(labels) <= FEW:
            field.widget = pills()
            field.choices = labels
            del self.fields["new_mark"]
        else:
            field.required = False
            field.choices = [("", _("choose …")), *labels[:LISTED]]

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        if "new_mark" in self.fields and not cleaned.get("new") and "new" not in self.errors:
            self._find_by_mark(cleaned)
        return cleaned

    def _find_by_mark(self, cleaned: dict[str, object]) -> None:
        typed = self.text_of("new_mark")
        if not typed:
            self.add_error("new", _("Choose the part that goes on, or write its mark."))
            return
        found = spare_by_mark(typed)
        if found is None:
            words = _("No part is marked “%(typed)s”. Look at the mark again.")
            self.add_error("new_mark", words % {"typed": typed})
        elif found.edge is None:
            words = _("%(part)s has the edges %(edges)s: write which one goes to work.")
            edges = ", ".join(found.part.part_type.edge_names)
            self.add_error("new_mark", words % {"part": found.part.code, "edges": edges})
        else:
            cleaned["new"] = f"{found.part.pk}:{found.edge}"

    def chosen_spare(self) -> tuple[int | None, str]:
        """(primary key of the part, edge); (None, "") where no part is fitted."""
        part, _colon, edge = self.text_of("new").partition(":")
        return (int(part) if part else None), edge
