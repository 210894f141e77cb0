"""Oil crops to pick from, each with what a bushel of it weighs where trade has one figure for that."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from wearlog.calc import units
from wearlog.runs.models import Crop

if TYPE_CHECKING:
    from decimal import Decimal

    from django.utils.functional import _StrPromise


@dataclass(frozen=True)
class UsualCrop:
    """The name is one word in every language, since it becomes the crop's tag; the key is the English one, by
    which trade's weights are found."""

    key: str
    name: _StrPromise

    @property
    def bushel_kg(self) -> Decimal | None:
        return units.bushel_kg_of(self.key)

    def crop(self) -> Crop:
        """The crop, not yet saved."""
        return Crop(code=str(self.name), bushel_kg=self.bushel_kg)


USUAL = (
    UsualCrop("rapeseed", _("rapeseed")),
    UsualCrop("sunflower", _("sunflower")),
    UsualCrop("linseed", _("linseed")),
    UsualCrop("hemp", _("hemp")),
    UsualCrop("camelina", _("camelina")),
    UsualCrop("soybean", _("soybean")),
    UsualCrop("mustard", _("mustard")),
    UsualCrop("safflower", _("safflower")),
    UsualCrop("sesame", _("sesame")),
    UsualCrop("pumpkin", _("pumpkin")),
    UsualCrop("walnut", _("walnut")),
    UsualCrop("poppy", _("poppy")),
)


def not_yet(recorded: Iterable[str]) -> list[UsualCrop]:
    """The crops to pick from, without those that are recorded."""
    taken = {code.casefold() for code in recorded}
    return [each for each in USUAL if str(each.name).casefold() not in taken]
