"""Prices to try on the page on when to stop a part."""

from __future__ import annotations

from dataclasses import dataclass

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from wearlog.compare.stopping import Asked


@dataclass(frozen=True)
class Slider:
    """`value` lies between 0 and `most`, in the mill's currency."""

    name: str
    label: str
    value: float
    most: float
    step: float


STEPS = 40
"""A slider goes from nothing to twice the price on record in so many steps."""


class PricesToTry(forms.Form):
    """Two sliders, of the oil's and the part's price. What is left out or can't be read counts as the price
    on record."""

    oil_price = forms.DecimalField(label=_("Oil, per kg"), required=False, min_value=0)
    part_price = forms.DecimalField(label=_("The part, new"), required=False, min_value=0)

    def __init__(self, data: QueryDict | None, *, usual: Asked, currency: str) -> None:
        super().__init__(data)
        self.usual, self.currency = usual, currency

    def asked(self) -> Asked:
        """The prices that were chosen."""
        self.is_valid()
        oil, part = (self.cleaned_data.get(name) for name in ("oil_price", "part_price"))
        return Asked(*(None if price is None else float(price) for price in (oil, part)))

    def sliders(self) -> list[Slider]:
        """In the order of the page."""
        chosen = self.asked() if self.is_bound else Asked()
        made = []
        for name, now, usual in (
            ("oil_price", chosen.oil, self.usual.oil),
            ("part_price", chosen.part, self.usual.part),
        ):
            value = now if now is not None else usual
            most = 2 * max(usual or 0.0, value or 0.0) or 1.0
            made.append(Slider(name, str(self.fields[name].label), value or 0.0, most, most / STEPS))
        return made
