"""Several parts at once, with consecutive marks."""

from __future__ import annotations

import re

from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Part
from wearlog.web.site.forms import EntryForm


def codes_from(first: str, count: int) -> list[str]:
    """`D5-07`, 3 -> D5-07, D5-08, D5-09: the last number is incremented and keeps its width.

    Raises ValueError where several are wanted and the code has no number.
    """
    if count == 1:
        return [first]
    found = re.fullmatch(r"(.*?)(\d+)(\D*)", first)
    if found is None:
        raise ValueError(first)
    before, digits, after = found.groups()
    return [f"{before}{int(digits) + step:0{len(digits)}d}{after}" for step in range(count)]


class MarksForm(EntryForm):
    """Makes `codes` from the fields `first` and `count`, which a subclass has, and refuses marks that are
    taken."""

    codes: list[str]

    aliases = {"code": "first"}

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        first, count = self.text_of("first"), cleaned.get("count")
        if not first or not isinstance(count, int):
            return cleaned
        try:
            self.codes = codes_from(first, count)
        except ValueError:
            self.add_error("first", _("Put a number in the mark that can count on, as in D5-07."))
            return cleaned
        taken = sorted(Part.objects.filter(code__in=self.codes).values_list("code", flat=True))
        if taken:
            self.add_error(
                "first",
                _("Already there: %(codes)s. Begin with another number.") % {"codes": ", ".join(taken)},
            )
        return cleaned
