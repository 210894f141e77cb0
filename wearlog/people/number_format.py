"""How numbers and units are written in the language that is active."""

from __future__ import annotations

from django.utils.formats import get_format
from django.utils.translation import get_language, gettext

from wearlog.calc import units


class FormatOfTheLanguage(units.NumberFormat):
    """English as `calc` has it; every other language by the signs that Django keeps for it."""

    def signs(self, system: str) -> tuple[str, str]:
        language = get_language() or "en"
        if language.partition("-")[0] == "en":
            return super().signs(system)
        grouping = str(get_format("THOUSAND_SEPARATOR", language))
        # Where a language parts thousands by a space, it is a narrow one that does not break.
        grouping = units.NARROW_SPACE if grouping.isspace() else grouping
        return grouping, str(get_format("DECIMAL_SEPARATOR", language))

    def word(self, english: str) -> str:
        return gettext(english)
