"""Wear of measured edges: turns gauge readings into wear rates, multipliers and the seed left to the limit.

See docs/methods/wear.md for the model, its assumptions and its sources.
"""

from wearlog.calc.wear.answers import answers, wear_along
from wearlog.calc.wear.fits import BASES, EdgeFit, Quantiles, Scenarios, TypeFit
from wearlog.calc.wear.fleet import fit_fleet, fit_type
from wearlog.calc.wear.learned import Learned, fingerprint, learn
from wearlog.calc.wear.records import EdgeRecord, Gauge, TypeRecord, Work
from wearlog.calc.wear.slips import odd_share
from wearlog.calc.wear.to_limit import MIXED, SeedToLimit, seed_to_limit

__all__ = [
    "BASES",
    "MIXED",
    "EdgeFit",
    "EdgeRecord",
    "Gauge",
    "Learned",
    "Quantiles",
    "Scenarios",
    "SeedToLimit",
    "TypeFit",
    "TypeRecord",
    "Work",
    "answers",
    "fingerprint",
    "fit_fleet",
    "fit_type",
    "learn",
    "odd_share",
    "seed_to_limit",
    "wear_along",
]
