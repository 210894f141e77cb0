"""Days on which two presses were mixed up: each ran at the other's pace.

Of a day and two presses the log paces are compared with what is usual for them, and with what is usual for
the other one. Mixed up is a day on which both are far from their own (`FAR` standard deviations, on opposite
sides) and near the other's (`NEAR`).
"""

from __future__ import annotations

import numpy as np

from wearlog.calc.doubts.odd import Flags, Floats

FAR, NEAR = 4.0, 2.5


def swapped(pace: Floats, other: Floats, usual: Floats, usual_other: Floats, sd: Floats) -> Flags:
    """Which days were mixed up, shape (n,). pace, other: the log paces of the two presses on each day; usual,
    usual_other: what is usual for each of them at the crops of that day, (n, 2): as it stands in the log, and
    with the two exchanged. sd: (n,), of a day's log pace."""
    own = np.stack([pace - usual[:, 0], other - usual_other[:, 0]])
    exchanged = np.stack([pace - usual[:, 1], other - usual_other[:, 1]])
    found: Flags = (
        (np.abs(own) > FAR * sd).all(axis=0)
        & (np.abs(exchanged) < NEAR * sd).all(axis=0)
        & (own[0] * own[1] < 0)
    )
    return found
