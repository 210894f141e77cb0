"""Split conformal correction: both ends of a range are moved by how earlier ranges turned out at this mill.

A forecast is a range of days (early, mid, late). Once its edge has reached the limit, each side of the range
has a signed score, with h the half-width of that side: late side (came - mid) / h, early side (mid - came) /
h. So 1 or less means that the side held, 1 is its end, and a negative score lies on the other side of mid.
There is one pair of scores for each finished edge. A side is meant to hold in 90 % of cases, both together in
80 %. Its raw factor is the ceil((n + 1) * 0.9)-th smallest of its n scores (Vovk, Gammerman and Shafer,
Algorithmic Learning in a Random World, 2005; from memory): if the scores of n + 1 edges are exchangeable and
have no ties, the next one stays within it with probability ceil((n + 1) * 0.9) / (n + 1), which is at least
0.9 and less than 0.9 + 1 / (n + 1), whatever the scores' distribution. With 8 scores that rank doesn't exist;
the largest score stands for it (8 / 9).

The raw factor is bounded to 0.5 to 3 and then drawn toward 1: of its logarithm min(1, n / 40) is taken. Few
scores say little about a 90 % quantile. In simulations with 8 to 30 edges whose ranges were right, or off by
a lognormal factor of spread 0.3, the mean interval score with raw factors was worse than with these (by 1.5
to 13 %), and below 20 edges worse than without any correction. From 40 edges on nothing is drawn back, so
that ranges twice too wide or twice too narrow come to hold in 75 to 85 %. The limit of 40 is our own choice
from these simulations, no source.

Below 8 edges in all nothing is corrected. A kind of part with 20 edges or more has factors of its own; all
others take the factors of all kinds together. Days are ordinals or any other day numbers.

Assumption: future edges behave like finished ones. An edge that outlives its range counts as a miss of the
late side even before it is finished; leaving it out until then would make the record look better than it is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil, exp, inf, log

SIDE_LEVEL_TENTHS = 9
"""In how many cases of ten one side of a range is meant to hold."""
LEAD_DAYS = 60
"""How far ahead a range is judged: long enough to order a part (common practice, no source)."""

FEWEST_EDGES = 8
"""Below this number of judged edges of all kinds nothing is corrected."""
FEWEST_OF_KIND = 20
"""From this number of judged edges on, a kind has its own factors."""
FULL_EDGES = 40
"""From this number of judged edges on, the factor is taken in full."""
NARROWEST = 0.5
WIDEST = 3.0


@dataclass(frozen=True, kw_only=True)
class DayRange:
    """The 10, 50 and 90 % quantiles of the forecast day, in this order."""

    early: float
    mid: float
    late: float

    def holds(self, day: float) -> bool:
        """Whether the day lies within the range, both ends included."""
        return self.early <= day <= self.late


@dataclass(frozen=True, kw_only=True)
class SideFactors:
    """How many times as far from the mid day the early and the late day are put; 1 leaves a day as given."""

    early: float = 1.0
    late: float = 1.0

    @property
    def changes_nothing(self) -> bool:
        return self == AS_GIVEN


AS_GIVEN = SideFactors()


@dataclass(frozen=True, kw_only=True)
class RangeFactors:
    """What the mill's own record asks for on a day.

    pooled: the factors of all kinds together. own: by kind (the key of a part type), for kinds that have
    factors of their own, in the order of the keys. weights: of the models whose ranges are mixed before that,
    by name (see `choice`); empty where the wear model speaks alone."""

    pooled: SideFactors = AS_GIVEN
    own: Mapping[int, SideFactors] = field(default_factory=dict)
    weights: Mapping[str, float] = field(default_factory=dict)

    def of(self, kind: int) -> SideFactors:
        return self.own.get(kind, self.pooled)


@dataclass(frozen=True, kw_only=True)
class History:
    """All forecasts that were made for one edge over its life, and the outcome.

    forecasts: (day of the forecast, range), in any order. kind: the key of its part type. came: the day on
    which the edge reached its limit, None if it has not. known_on: the first day on which the log showed
    this, None if `came` is None. ended: the day on which the edge was lost, broken or retired without having
    reached its limit, else None."""

    forecasts: tuple[tuple[float, DayRange], ...]
    kind: int = 0
    came: float | None = None
    known_on: float | None = None
    ended: float | None = None

    def forecast_on(self, day: float) -> DayRange | None:
        """The range of the latest forecast made on or before a day, None where there is none."""
        past = [one for one in self.forecasts if one[0] <= day]
        return max(past, key=lambda one: one[0])[1] if past else None


@dataclass(frozen=True, kw_only=True)
class SideScores:
    """The signed scores of one edge, of its early and its late side: 1 or less where the side held."""

    kind: int = 0
    early: float
    late: float


def side_scores(given: DayRange, came: float, kind: int = 0) -> SideScores:
    """The distance of the day from the mid day in half-widths of each side, signed outward; both are 0 at the
    mid day. A side without width scores plus or minus infinity for any other day."""
    return SideScores(
        kind=kind,
        early=_in_halves(given.mid - came, given.mid - given.early),
        late=_in_halves(came - given.mid, given.late - given.mid),
    )


def _in_halves(away: float, half: float) -> float:
    if away == 0:
        return 0.0
    return away / half if half > 0 else inf if away > 0 else -inf


def scores_on(day: float, histories: Iterable[History], *, lead: float = LEAD_DAYS) -> list[SideScores]:
    """The scores that a forecast made on `day` may use: at most one pair for each edge, in the order of the
    edges.

    An edge known before that day to have finished is scored by its last range given at least `lead` days
    before it finished. An edge that has neither finished nor ended counts as a miss of the late side
    (infinite; the early side held) once the late day of its last range given at least `lead` days before
    `day` has passed; until then it has no scores."""
    found = []
    for one in histories:
        if one.came is not None and one.known_on is not None and one.known_on < day:
            given = one.forecast_on(one.came - lead)
            if given is not None:
                found.append(side_scores(given, one.came, one.kind))
        elif one.ended is None or one.ended >= day:
            given = one.forecast_on(day - lead)
            if given is not None and given.late < day:
                found.append(SideScores(kind=one.kind, early=-inf, late=inf))
    return found


def raw_factor(scores: Sequence[float]) -> float:
    """The conformal quantile of one side's signed scores, before bounds: the ceil((n + 1) * 0.9)-th smallest,
    or the largest where there is no such rank. Raises ValueError without scores."""
    if not scores:
        raise ValueError("there is no quantile of no scores")
    # Divided once, in the end: 0.9 times a whole number can come out a little above a whole number.
    rank = ceil((len(scores) + 1) * SIDE_LEVEL_TENTHS / 10)
    return sorted(scores)[min(rank, len(scores)) - 1]


def factor(scores: Sequence[float]) -> float:
    """The factor of one side from its signed scores: 0.5 to 3, drawn toward 1 below 40 scores, 1 below 8.

    The order of the scores does not matter, and a larger score never makes the factor smaller."""
    count = len(scores)
    if count < FEWEST_EDGES:
        return 1.0
    bounded = min(max(raw_factor(scores), NARROWEST), WIDEST)
    return bounded if count >= FULL_EDGES else exp(log(bounded) * count / FULL_EDGES)


@dataclass(frozen=True, kw_only=True)
class JudgedFactors:
    """What scores ask for. judged: the number of edges of all kinds behind the pooled factors. judged_of:
    that of each kind with factors of its own."""

    factors: RangeFactors
    judged: int
    judged_of: Mapping[int, int]


def learned(scores: Sequence[SideScores]) -> JudgedFactors:
    """The factors of all kinds together, and of each kind with 20 scored edges or more."""
    by_kind: dict[int, list[SideScores]] = defaultdict(list)
    for one in scores:
        by_kind[one.kind].append(one)
    own = {kind: of_kind for kind, of_kind in sorted(by_kind.items()) if len(of_kind) >= FEWEST_OF_KIND}
    return JudgedFactors(
        factors=RangeFactors(
            pooled=_side_factors(scores), own={kind: _side_factors(found) for kind, found in own.items()}
        ),
        judged=len(scores),
        judged_of={kind: len(found) for kind, found in own.items()},
    )


def _side_factors(scores: Sequence[SideScores]) -> SideFactors:
    return SideFactors(early=factor([one.early for one in scores]), late=factor([one.late for one in scores]))


def corrected(given: DayRange, by: SideFactors) -> DayRange:
    """The range with the distance of each end from the mid day multiplied by the factor of its side."""
    return DayRange(
        early=given.mid - by.early * (given.mid - given.early),
        mid=given.mid,
        late=given.mid + by.late * (given.late - given.mid),
    )


def interval_score(given: DayRange, came: float) -> float:
    """Width plus ten times what the day lies outside, in days; smaller is better (Gneiting and Raftery,
    Strictly Proper Scoring Rules, 2007: 2 / 0.2 for a range of 80 %)."""
    return given.late - given.early + 10.0 * (max(given.early - came, 0.0) + max(came - given.late, 0.0))


@dataclass(frozen=True, kw_only=True)
class Forward:
    """How ranges did in a replay in which each is corrected only by what was known when it was given.

    edges: the number of finished edges; the other counts are out of these. held_as_given, held_corrected: how
    many ranges held without and with the correction. before_corrected, after_corrected: how many edges came
    before and after the corrected range. corrected: how many ranges were changed. score_as_given,
    score_corrected: the mean interval score in days, None without edges.
    """

    edges: int
    held_as_given: int
    held_corrected: int
    before_corrected: int
    after_corrected: int
    corrected: int
    score_as_given: float | None
    score_corrected: float | None


def forward(histories: Sequence[History], *, lead: float = LEAD_DAYS) -> Forward:
    """Replay the finished edges: correct the last range given at least `lead` days before each edge finished
    by what was known when that range was given, and check both ranges. Later knowledge is never used."""
    pairs: list[tuple[DayRange, DayRange, float]] = []
    changed = 0
    for one in histories:
        if one.came is None:
            continue
        limit = one.came - lead
        given = one.forecast_on(limit)
        if given is None:
            continue
        made_on = max(day for day, _ in one.forecasts if day <= limit)
        by = learned(scores_on(made_on, histories, lead=lead)).factors.of(one.kind)
        changed += not by.changes_nothing
        pairs.append((given, corrected(given, by), one.came))
    edges = len(pairs)
    return Forward(
        edges=edges,
        held_as_given=sum(given.holds(came) for given, _, came in pairs),
        held_corrected=sum(better.holds(came) for _, better, came in pairs),
        before_corrected=sum(came < better.early for _, better, came in pairs),
        after_corrected=sum(came > better.late for _, better, came in pairs),
        corrected=changed,
        score_as_given=sum(interval_score(given, came) for given, _, came in pairs) / edges
        if edges
        else None,
        score_corrected=sum(interval_score(better, came) for _, better, came in pairs) / edges
        if edges
        else None,
    )
