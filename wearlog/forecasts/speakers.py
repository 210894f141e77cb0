"""The models that may have a say in the day of a wear limit, in plain words."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.translation import gettext as _

from wearlog.calc.candidates import CALM, PRESENT, STEPS


def name_of(model: str) -> str:
    """`wear in chance steps`, in the active language."""
    names = {
        PRESENT: _("the wear model"),
        CALM: _("the wear model with steadier wear"),
        STEPS: _("wear in chance steps"),
    }
    return names.get(model, model)


def about(model: str) -> str:
    """What a model takes wear to do, in a sentence."""
    sentences = {
        PRESENT: _("Each edge keeps about its own pace, which may stray as it has been seen to."),
        CALM: _(
            "Each edge keeps its own pace almost exactly; what strays in readings is put down to gauging."
        ),
        STEPS: _(
            "Wear goes on from today in steps of chance at the pace of the type; what the edge did before "
            "does not count."
        ),
    }
    return sentences.get(model, "")


def shares(weights: Mapping[str, float]) -> str:
    """`60 % the wear model, 40 % wear in chance steps`, the loudest first."""
    loudest_first = sorted(weights.items(), key=lambda each: -each[1])
    return ", ".join(
        _("%(percent)s %% %(model)s") % {"percent": round(100 * weight), "model": name_of(model)}
        for model, weight in loudest_first
    )
