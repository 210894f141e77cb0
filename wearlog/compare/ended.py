"""How a life of a part ended, in words."""

from __future__ import annotations

from django.utils.translation import gettext_lazy

from wearlog.compare.reliability import Ended

ENDED_WORDS = {
    Ended.FAILED: gettext_lazy("failed"),
    Ended.AT_LIMIT: gettext_lazy("taken off at the gauged limit"),
    Ended.OFF_SEASON: gettext_lazy("taken off while the press stood"),
    Ended.CUT_SHORT: gettext_lazy("lost, remade or retired otherwise"),
    Ended.REBUILT: gettext_lazy("rebuilt"),
    Ended.IN_SERVICE: gettext_lazy("still in use"),
}
