"""The language in which a person reads the site: their own choice, else the mill's."""

from __future__ import annotations

from collections.abc import Sequence

from django.conf import settings
from django.utils.translation import get_supported_language_variant
from django.utils.translation.trans_real import parse_accept_lang_header

from wearlog.people.models import Mill, User


def known() -> tuple[str, ...]:
    """The codes of the languages that the site speaks."""
    return tuple(code for code, _name in settings.LANGUAGES)


def language_of(person: User | None = None, mill: Mill | None = None) -> str:
    """The person's own language, else the mill's; English where the site no longer has either."""
    own = person.language if person is not None else ""
    if own in known():
        return own
    shared = (mill or Mill.current()).language
    return shared if shared in known() else settings.LANGUAGE_CODE


def language_of_browser(accepts: str, mill: Mill) -> str:
    """For somebody who is not signed in: the first language of the header `Accept-Language` that the site
    speaks, else the mill's."""
    for wanted, _weight in parse_accept_lang_header(accepts):
        if wanted == "*":
            break
        try:
            return get_supported_language_variant(wanted)
        except LookupError:
            continue
    return language_of(None, mill)


def in_use() -> Sequence[str]:
    """The languages in use at this mill: its own and those that people chose, in the site's order."""
    chosen = set(User.objects.filter(is_active=True).values_list("language", flat=True))
    chosen.add(language_of())
    return [code for code in known() if code in chosen]
