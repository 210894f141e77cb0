"""Changing the wording of a caution: a new version is added, with who, when and why."""

from __future__ import annotations

import re
from datetime import datetime

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.lockout.cautions.hazards import SignalWord, hazard_of, shown_word
from wearlog.lockout.models import CautionWording
from wearlog.lockout.models.wording import EVERY_TASK
from wearlog.people import audit
from wearlog.people.cleaning import clean
from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require

PROMISE = re.compile(
    r"\bsafe(?:ly)?\b|\bharmless\b|\b(?:no|without) (?:danger|risk|hazard)s?\b"
    # German; "sichern" and "sichere" stay allowed, as they are the words for locking out
    r"|\b(?:betriebs|unfall)?sicher\b|\b(?:ungefährlich|gefahrlos|risikolos|harmlos)\w*"
    r"|\b(?:keine?|ohne) (?:gefahr|gefährdung|risik[eo])\w*"
    # French
    r"|\b(?:sans|aucun) (?:danger|risque)s?\b|\ben (?:toute )?sécurité\b|\binoffensi\w*",
    re.IGNORECASE,
)
"""Promises of safety, which a caution must not contain, in each language of the pages."""


@transaction.atomic
def set_wording(
    *,
    by: User | None,
    at: datetime,
    hazard: str,
    press_id: int | None = None,
    instead: str = "",
    added: str = "",
    word: str = "",
    reason: str,
    seen: int | None = None,
) -> CautionWording:
    """Add a version of the wording for a hazard, at one press or (`press_id` None) at all.

    `instead` replaces the shipped sentence except its `least`, `added` follows it, `word` raises the signal
    word; all three empty restore the shipped wording. `seen` is the number of the version that the person saw
    (0: none); if there is a newer one, the change is refused. Raises Refused also for a lower signal word,
    for DANGER without a press, for a promise of safety, and where nothing changes.
    """
    require(by, Permission.OWN)
    shipped = hazard_of(hazard)
    if shipped is None and hazard != EVERY_TASK:
        raise Refused(_("There is no such hazard. Open the list of cautions again."), field="hazard")
    press = Press.objects.filter(pk=press_id).first() if press_id is not None else None
    if press_id is not None and press is None:
        raise Refused(_("There is no such press. Choose one from the list."), field="press")
    instead, added, reason = (" ".join(text.split()) for text in (instead, added, reason))
    for name, text in (("instead", instead), ("added", added)):
        if PROMISE.search(text):
            raise Refused(
                _("A caution can't promise anything. Say what can hurt and what to do."), field=name
            )
    if shipped is None and instead:
        raise Refused(_("Words for every task are added; there is none to replace."), field="instead")
    if not reason:
        raise Refused(_("Write why the words change; the reason is kept with them."), field="reason")
    if word:
        _check_word(word, shipped.word if shipped else None, press_id)
    same = CautionWording.objects.filter(hazard=hazard, press=press)
    before = same.order_by("-number").first()
    if seen is not None and seen != (before.number if before else 0):
        raise Refused(
            _("%(who)s changed these words while you had them open. Open the page again, and see.")
            % {"who": before.by_name if before else _("Somebody")}
        )
    stood = (before.instead, before.added, before.word) if before else ("", "", "")
    if stood == (instead, added, word):
        raise Refused(_("Nothing is different. Change the words, or go back."))
    row = CautionWording(
        number=(CautionWording.objects.aggregate(last=Max("number"))["last"] or 0) + 1,
        hazard=hazard,
        press=press,
        instead=instead,
        added=added,
        word=word,
        reason=reason,
        at=at,
        by=by,
        by_name=audit.name_of(by),
    )
    clean(row)
    row.save()
    audit.write(
        at=at,
        by=by,
        action="change" if before else "add",
        record=row,
        old=audit.snapshot(before) if before else None,
        new=audit.snapshot(row),
        reason=reason,
    )
    return row


def _check_word(word: str, shipped: SignalWord | None, press_id: int | None) -> None:
    if shipped is None:
        raise Refused(_("Words for every task have no signal word of their own."), field="word")
    if word not in SignalWord.__members__:
        raise Refused(
            _("%(word)s is no signal word for an injury. Choose of %(known)s.")
            % {"word": word, "known": ", ".join(map(shown_word, SignalWord.__members__))},
            field="word",
        )
    if SignalWord[word] < shipped:
        raise Refused(
            _("The signal word is %(word)s at least. Choose that or a graver one.")
            % {"word": shown_word(shipped.name)},
            field="word",
        )
    if SignalWord[word] is SignalWord.DANGER and press_id is None:
        raise Refused(
            _(
                "DANGER says that somebody will be killed or maimed: a judgement about one machine. "
                "Choose the press."
            ),
            field="press",
        )
