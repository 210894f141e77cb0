"""Whether a worn part still pays."""

from wearlog.compare.stopping.advice import Asked, NoStop, Stop, stops
from wearlog.compare.stopping.pressed import pressed

__all__ = ["Asked", "NoStop", "Stop", "pressed", "stops"]
