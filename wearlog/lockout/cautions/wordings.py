"""How a hazard is worded at this mill: the shipped sentence, replaced or extended, but never without its
`least`."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from wearlog.lockout.cautions.hazards import Hazard, SignalWord
from wearlog.lockout.models import CautionWording
from wearlog.lockout.models.wording import EVERY_TASK


@dataclass(frozen=True)
class HazardWording:
    """A hazard as worded for one press. `number` is that of the latest version included, 0 where it is as
    shipped; `short` is the hazard's name, or the mill's own wording in full, which is never shortened."""

    word: SignalWord
    sentence: str
    number: int
    short: str


@dataclass(frozen=True)
class Wordings:
    """The latest version for each hazard and press (None: every press). It makes no queries; `load` reads
    it."""

    latest: Mapping[tuple[str, int | None], CautionWording] = field(default_factory=dict)

    def of(self, hazard: Hazard, press_id: int | None) -> HazardWording:
        """The hazard at that press: a replacement for the press takes precedence over the mill's, additions
        of both are kept, and the signal word is the most severe of the shipped one and both."""
        rows = self._rows(hazard.key, press_id)
        instead = next((row.instead for row in reversed(rows) if row.instead), "")
        sentences = [sentence(instead), str(hazard.least)] if instead else [str(hazard.sentence)]
        sentences += [sentence(row.added) for row in rows if row.added]
        return HazardWording(
            word=max([hazard.word, *(SignalWord[row.word] for row in rows if row.word)]),
            sentence=" ".join(sentences),
            number=max((row.number for row in rows), default=0),
            short=" ".join(sentences) if instead or len(sentences) > 1 else str(hazard.short),
        )

    def for_every_task(self, press_id: int | None) -> tuple[list[str], int]:
        """The sentences that the mill adds to every caution, and the number of their latest version."""
        rows = self._rows(EVERY_TASK, press_id)
        return [sentence(row.added) for row in rows if row.added], max(
            (row.number for row in rows), default=0
        )

    def _rows(self, key: str, press_id: int | None) -> list[CautionWording]:
        """The mill's version, then the press's. A version that restores the shipped text is included, since
        its number counts."""
        wanted = [(key, None), (key, press_id)] if press_id is not None else [(key, None)]
        return [self.latest[each] for each in wanted if each in self.latest]


AS_SHIPPED = Wordings()


def load(press_ids: Collection[int] | None = None) -> Wordings:
    """The mill's wordings and those of the presses (None: of all); one query."""
    rows = CautionWording.objects.order_by("number")
    if press_ids is not None:
        rows = rows.filter(press__isnull=True) | rows.filter(press_id__in=press_ids)
    return of_rows(rows)


def of_rows(rows: Iterable[CautionWording]) -> Wordings:
    """The wordings from versions in ascending order of number: the last one of each hazard and press."""
    return Wordings({(row.hazard, row.press_id): row for row in rows})


def sentence(text: str) -> str:
    """The text with a full stop at its end, so that another sentence can follow."""
    text = " ".join(text.split())
    return text if text.endswith((".", "!", "?", "…")) else f"{text}."
