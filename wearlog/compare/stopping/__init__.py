"""Whether a worn part still pays."""

from wearlog.compare.stopping.advice import Asked, NoStop, Stop, stops
from wearlog.compare.stopping.pressed import pressed
from wearlog.compare.stopping.seats import WEARING

__all__ = ["WEARING", "Asked", "NoStop", "Stop", "pressed", "stops"]
