"""Sentences for people on lifetimes, repeated work and costs, and on why a figure is missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from wearlog.calc import units
from wearlog.calc.life import FixedShape
from wearlog.calc.recurrence import mean_range
from wearlog.compare.ended import ENDED_WORDS
from wearlog.compare.orders import NoOrder
from wearlog.compare.reliability import AgeUnit, Statement, TypeLives
from wearlog.compare.repeats import EventAnalysis, Repeat, Trend
from wearlog.compare.replacing import Withheld
from wearlog.compare.stopping import NoStop
from wearlog.lockout.cautions.caution import Caution
from wearlog.lockout.cautions.queries import Cautions
from wearlog.words.actions import recurring_word
from wearlog.words.kinds import kind_words

LOG_2 = 0.6931471805599453
CHANCE, WEAR = 1.0, 3.0
"""Weibull shapes for failures by chance and by wear, among those that `calc.life` assumes."""

WITHHELD_WORDS = {
    Withheld.FEW_FAILURES: gettext_lazy(
        "No advice: fewer than three have failed, too few to learn whether changing early helps."
    ),
    Withheld.NO_PART_PRICE: gettext_lazy("No advice: the part type has no price. A maintainer can enter it."),
    Withheld.NO_STAND_STILL_PRICE: gettext_lazy(
        "No advice: there is no price for an hour in which a press stands still. An owner can enter it."
    ),
    Withheld.NO_LABOUR_PRICE: gettext_lazy(
        "No advice: hours were worked, but labour has no price. An owner can enter it."
    ),
    Withheld.NO_PLANNED_WORK: gettext_lazy(
        "No advice: no planned replacement with its stand-still is on record to compare with."
    ),
    Withheld.NO_FAILURE_WORK: gettext_lazy(
        "No advice: no work after a failure has its stand-still on record."
    ),
    Withheld.BY_CHANCE: gettext_lazy(
        "Run them until they fail: they fail by chance, and a new one fails as easily as an old one."
    ),
    Withheld.MAY_BE_CHANCE: gettext_lazy(
        "No advice: the failures on record fit wear, but chance as well, and then changing early would be "
        "wasted. More failures will tell."
    ),
    Withheld.NO_DEARER: gettext_lazy(
        "Run them until they fail: a failure has cost no more here than planned work."
    ),
    Withheld.SAVES_LITTLE: gettext_lazy(
        "Run them until they fail: changing early would save less than 5 %, which is less than these figures "
        "can bear out."
    ),
    Withheld.BEYOND: gettext_lazy("Run them until they fail: no age is early enough to pay."),
    Withheld.LIFE_UNKNOWN: gettext_lazy(
        "Can't be said: no rebuilt one has been worn to its end yet, or nothing tells how long a new "
        "one lasts."
    ),
    Withheld.ABOUT_THE_SAME: gettext_lazy("Too close to call: decide by what is at hand."),
    Withheld.NO_MEND_PRICE: gettext_lazy("Can't be said: no rebuild has a bill or hours on record."),
}
NO_STOP_WORDS = {
    NoStop.NO_PART_PRICE: gettext_lazy("Can't be said: the part type has no price."),
    NoStop.NO_OIL_PRICE: gettext_lazy("Can't be said: oil has no price."),
    NoStop.NO_LABOUR_PRICE: gettext_lazy("Can't be said: work on it took hours, and labour has no price."),
    NoStop.NO_OIL_FIGURES: gettext_lazy(
        "Can't be said: too few weeks under this part have runs whose oil was weighed or whose seed and cake "
        "were analysed."
    ),
    NoStop.TOO_LITTLE_SEEN: gettext_lazy(
        "Can't be said: runs whose oil is known cover less than half of this part's life, too little to tell "
        "how its loss has grown."
    ),
    NoStop.UNSURE: gettext_lazy(
        "Can't be said: the runs differ too much among themselves. The loss may be more or less than the "
        "average cost."
    ),
}
NO_ORDER_WORDS = {
    NoOrder.NO_PLAN: gettext_lazy("Nothing to reckon with: the plan has no seed for it ahead."),
    NoOrder.NO_LIFE: gettext_lazy(
        "Can't be said: neither gauges nor an expected life tell how long an edge lasts."
    ),
    NoOrder.TOO_MANY: gettext_lazy(
        "Can't be said: thousands would be needed. Check the plan, and how long such a die is expected to "
        "last."
    ),
}


def amount(value: float | None, by: AgeUnit, system: str) -> str:
    return units.show_hours(value, system) if by is AgeUnit.HOURS else units.show_mass(value, system)


def counts(lives: TypeLives) -> str:
    """`7 parts have worked: 2 failed, 5 still in use.` Always the first sentence."""
    if not lives.lived:
        return _("None has worked yet.")
    parts = len({one.part.id for one in lives.lived})
    ends = ", ".join(f"{lives.count(end)} {words}" for end, words in ENDED_WORDS.items() if lives.count(end))
    words = ngettext(
        "%(parts)d part has worked: %(ends)s.", "%(parts)d parts have worked: %(ends)s.", parts
    ) % {"parts": parts, "ends": ends}
    if lives.unused:
        words += " " + ngettext("%(unused)d lies new.", "%(unused)d lie new.", lives.unused) % {
            "unused": lives.unused
        }
    return words


def life_words(lives: TypeLives, system: str) -> list[str]:
    """The sentences that the failures allow, after the counts."""
    statement = lives.statement
    if statement is Statement.NOTHING:
        return []
    if statement is Statement.FIXED_SHAPE:
        return [_assumed(lives, system)]
    return _fitted(lives, system)


def _assumed(lives: TypeLives, system: str) -> str:
    by_shape = {each.shape: each for each in lives.life.fixed_shapes}
    chance, wear = by_shape[CHANCE], by_shape[WEAR]

    def half(value: float | None, fixed: FixedShape) -> str:
        return amount(None if value is None else value * LOG_2 ** (1 / fixed.shape), lives.by, system)

    if lives.failures == 0:
        return _(
            "None has failed, so there is only a lower limit: half of them last at least %(wear)s if they "
            "wear out, %(chance)s if they fail by chance (95 %% sure, the way of failing is assumed)."
        ) % {
            "wear": half(wear.one_sided_low, wear),
            "chance": half(chance.one_sided_low, chance),
        }
    return ngettext(
        "%(failed)d failure is too few to learn how they fail. If they wear out, half last %(wear_low)s to "
        "%(wear_high)s; if they fail by chance, %(low)s to %(high)s (95 %% ranges, the way of failing is "
        "assumed).",
        "%(failed)d failures are too few to learn how they fail. If they wear out, half last %(wear_low)s to "
        "%(wear_high)s; if they fail by chance, %(low)s to %(high)s (95 %% ranges, the way of failing is "
        "assumed).",
        lives.failures,
    ) % {
        "failed": lives.failures,
        "wear_low": half(wear.scale_range.low, wear),
        "wear_high": half(wear.scale_range.high, wear),
        "low": half(chance.scale_range.low, chance),
        "high": half(chance.scale_range.high, chance),
    }


def _fitted(lives: TypeLives, system: str) -> list[str]:
    fit = lives.life

    def show(value: float | None) -> str:
        return amount(value, lives.by, system)

    words = [
        _("One in ten has failed by %(early)s (95 %% range %(low)s to %(high)s).")
        % {"early": show(fit.b10), "low": show(fit.b10_range.low), "high": show(fit.b10_range.high)}
    ]
    if fit.shape_range.low is not None and fit.shape_range.low > 1:
        words.append(_("They wear out: the older one is, the sooner it fails."))
    elif fit.shape_range.high is not None and fit.shape_range.high < 1:
        words.append(_("New ones fail sooner than old ones: look at how they are made and fitted."))
    else:
        words.append(
            _("Whether they wear out or fail by chance at any age can't be told from these failures yet.")
        )
    if lives.mean is None:
        words.append(_("Below five failures no mean life is given: it would be a guess."))
    else:
        words.append(_("The mean life is %(mean)s.") % {"mean": show(lives.mean)})
    words.append(
        _("Shape %(shape)s (95 %% range %(low)s to %(high)s).")
        % {
            "shape": units.show_number(fit.shape or 0.0, 2, system),
            "low": units.show_number(fit.shape_range.low or 0.0, 2, system),
            "high": units.show_number(fit.shape_range.high or 0.0, 2, system),
        }
    )
    return words


SO_WORDS = {
    ("polish", "screw"): gettext_lazy("the screw's surface is going"),
    ("clean", ""): gettext_lazy("look for what fouls the press: seed, settings, then wear"),
    ("clean", "die"): gettext_lazy(
        "look for what plugs the die: moist or dirty seed, a cold head, then wear"
    ),
    ("plugged", ""): gettext_lazy("look at the seed's moisture, the head's heat, the settings, then wear"),
    ("tripped", ""): gettext_lazy("have the drive and the load looked at by who may"),
    ("adjust", "belt"): gettext_lazy("the belts are stretching out"),
}


def title_of(repeat: Repeat) -> str:
    """`Polishing: screw`, `Plugging: press`."""
    return f"{recurring_word(repeat.action or repeat.incident)}: {kind_words(repeat.kind)}"


def trend_words(repeat: Repeat, analysis: EventAnalysis, system: str) -> str:
    """One sentence on how often a work is repeated, for all things together or for one."""
    what = recurring_word(repeat.action or repeat.incident)
    figures = {
        "what": what,
        "so": SO_WORDS.get((repeat.action or repeat.incident, repeat.kind), _("find out what drives it")),
        "seen": units.show_mass(analysis.seen_t * 1000, system),
        "every": units.show_mass(None if analysis.every_t is None else analysis.every_t * 1000, system),
        "now": units.show_mass(None if analysis.every_t_now is None else analysis.every_t_now * 1000, system),
        "least": units.show_mass(1000 / analysis.rate.high if analysis.rate.high > 0 else None, system),
    }
    if analysis.trend is Trend.NEVER:
        return _("Not once in %(seen)s: at most once in %(least)s (95 %% sure).") % figures
    if analysis.trend is Trend.ONCE:
        return _("Once in %(seen)s; one time shows no trend.") % figures
    if analysis.trend is Trend.NO_TREND_FITTED:
        return _("All at the very end of %(seen)s: no trend can be worked out.") % figures
    if analysis.trend is Trend.FASTER:
        return (
            _("%(what)s comes faster each time: %(so)s. Now about every %(now)s, over all every %(every)s.")
            % figures
        )
    if analysis.trend is Trend.RARER:
        return (
            _("%(what)s comes ever more seldom: now about every %(now)s, over all every %(every)s.") % figures
        )
    return (
        _("About every %(every)s; no trend can be shown from so few.") % figures
        if analysis.events < 5
        else (
            _("About every %(every)s; it neither comes faster nor more seldom, as far as this can tell.")
            % figures
        )
    )


def law_words(repeat: Repeat, system: str) -> str:
    """The figures behind the sentence: mean number for each thing, power law, Laplace test. Empty for fewer
    than two."""
    analysis = repeat.analysis
    if analysis.law.shape is None:
        return ""

    def show(value: float | None) -> str:
        return units.NOTHING if value is None else units.show_number(value, 2, system)

    last = repeat.mean[-1]
    span = mean_range(last)
    figures = {
        "mean": show(last.value),
        "age": units.show_mass(last.age * 1000, system),
        "between": _(" (95 %% range %(low)s to %(high)s)") % {"low": show(span.low), "high": show(span.high)}
        if span.low is not None
        else "",
        "shape": show(analysis.law.shape),
        "low": show(analysis.law.shape_range.low),
        "high": show(analysis.law.shape_range.high),
        "z": show(analysis.laplace_z),
    }
    return (
        _(
            "By %(age)s each has had it %(mean)s times on average%(between)s. Shape of the power law "
            "%(shape)s (95 %% range %(low)s to %(high)s): above 1 ever faster. Laplace's trend figure "
            "is %(z)s: above 2 ever faster, below −2 ever more seldom."
        )
        % figures
    )


def pressed_cautions(
    cautions: Cautions, presses: Mapping[int, str], wanted: Iterable[int], *, action: str, kind: str
) -> list[Caution]:
    """The cautions of one work at several presses; without action and kind, those of any work. Presses with
    the same text share one panel, which has a line with the isolation points of each."""
    found: dict[tuple[str, str], Caution] = {}
    ids = sorted(set(wanted), key=lambda pk: presses[pk])
    for press_id in ids:
        own = cautions.of(press_id, action=action, kind=kind)
        points = own.isolation_points
        if len(ids) > 1 and points:
            many = ngettext("%(count)d point", "%(count)d points", len(points)) % {"count": len(points)}
            points = (f"{presses[press_id]} ({many}): {'. '.join(points)}",)
        key = (own.signal_word, own.text)
        before = found[key].isolation_points if key in found else ()
        found[key] = replace(own, isolation_points=before + points)
    return list(found.values())
