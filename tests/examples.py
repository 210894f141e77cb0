"""How many examples a property is tried with: a bounded number in the suite, many more by hand.

.venv/bin/pytest --hypothesis-profile=full tests/lockout/isolation/test_property.py
"""

from __future__ import annotations

import os

from hypothesis import settings

from tests.requirements import ON_POSTGRESQL

FULL = "full"


def bounded(many: int, few: int) -> int:
    """`many` in full; else `few`, and a third of them where they are run once more on PostgreSQL."""
    if settings.get_current_profile_name() == FULL:
        return many
    return max(1, few // 3) if ON_POSTGRESQL in os.environ else few
