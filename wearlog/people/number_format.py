"""How numbers and units are written in the active language."""

from __future__ import annotations

from django.utils.formats import get_format
from django.utils.translation import get_language, gettext

from wearlog.calc import units


class FormatOfTheLanguage(units.NumberFormat):
    """English as `calc` defines it; other languages with the separators from Django's formats."""

    def signs(self, system: str) -> tuple[str, str]:
        language = get_language() or "en"
        if language.partition("-")[0] == "en":
            return super().signs(system)
        grouping = str(get_format("THOUSAND_SEPARATOR", language))
        # A space between thousands is always a narrow no-break space.
        grouping = units.NARROW_SPACE if grouping.isspace() else grouping
        return grouping, str(get_format("DECIMAL_SEPARATOR", language))

    def word(self, english: str) -> str:
        return gettext(english)
