"""What pays, and what to order: age replacement, stopping a worn part, rebuilding or buying, dies for a
season, spares, and the day to order by. A module each, with its formula and its source."""

from wearlog.calc.policy.age_replacement import Replacement, cost_rate, replacement, replacement_of
from wearlog.calc.policy.dies import SERVICE_LEVEL as ENOUGH
from wearlog.calc.policy.dies import DiesToMake, EdgeLives, dies_to_make, good_for, spread_of
from wearlog.calc.policy.mending import MendOrBuy, Way, mend_or_buy
from wearlog.calc.policy.ordering import LATE_SHARE, Needed, OrderDay, days_needed, order_by
from wearlog.calc.policy.remaining import left_of_life
from wearlog.calc.policy.spares import SparesToKeep, spares_to_keep
from wearlog.calc.policy.stopping import (
    Course,
    StopAdvice,
    Trend,
    Usual,
    drawn_to_usual,
    oil_per_kg,
    stop_rule,
    trends_within,
    usual_trend,
)

__all__ = [
    "ENOUGH",
    "LATE_SHARE",
    "Course",
    "DiesToMake",
    "EdgeLives",
    "MendOrBuy",
    "Needed",
    "OrderDay",
    "Replacement",
    "SparesToKeep",
    "StopAdvice",
    "Trend",
    "Usual",
    "Way",
    "cost_rate",
    "days_needed",
    "dies_to_make",
    "drawn_to_usual",
    "good_for",
    "left_of_life",
    "mend_or_buy",
    "oil_per_kg",
    "order_by",
    "replacement",
    "replacement_of",
    "spares_to_keep",
    "spread_of",
    "stop_rule",
    "trends_within",
    "usual_trend",
]
