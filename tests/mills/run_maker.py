"""What the fixture `run` of the comparisons is."""

from __future__ import annotations

from collections.abc import Callable

from wearlog.runs.models import Run

RunMaker = Callable[..., Run]
