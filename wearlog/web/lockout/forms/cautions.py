"""The form for the owner's wording of a hazard: replacement, addition and signal word."""

from __future__ import annotations

from collections.abc import Mapping

from django import forms
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Press
from wearlog.lockout.cautions.hazards import Hazard, SignalWord, shown_word
from wearlog.lockout.models import CautionWording
from wearlog.web.site.fields import Reader
from wearlog.web.site.forms import EntryForm
from wearlog.web.site.model_fields import of

WORDS = {
    SignalWord.CAUTION: _("CAUTION: a minor or moderate injury could follow"),
    SignalWord.WARNING: _("WARNING: death or serious injury could follow"),
    SignalWord.DANGER: _("DANGER: death or serious injury will follow"),
}


class WordingForm(EntryForm):
    """`hazard` None: an addition to the caution of every task. `press` None: for every press."""

    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    instead = of(CautionWording, "instead", widget=forms.Textarea(attrs={"rows": 3}))
    added = of(CautionWording, "added", widget=forms.Textarea(attrs={"rows": 3}))
    word = of(CautionWording, "word", forms.ChoiceField)
    reason = of(CautionWording, "reason")

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        hazard: Hazard | None,
        press: Press | None,
        latest: CautionWording | None,
    ) -> None:
        initial: dict[str, object] = {
            "seen": latest.number if latest else 0,
            "instead": latest.instead if latest else "",
            "added": latest.added if latest else "",
            "word": latest.word if latest else "",
        }
        super().__init__(data, reader=reader, initial=initial)
        if hazard is None:
            del self.fields["instead"], self.fields["word"]
            return
        graver = [word for word in SignalWord if word > hazard.word and (press or word < SignalWord.DANGER)]
        if not graver:
            del self.fields["word"]
            return
        as_shipped = _("as shipped: %(word)s") % {"word": shown_word(hazard.word.name)}
        self.field("word", forms.ChoiceField).choices = [
            ("", as_shipped),
            *((word.name, WORDS[word]) for word in graver),
        ]
