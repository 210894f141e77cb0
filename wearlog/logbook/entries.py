"""The types of entries that pages, sheets, a phone's queue and commands pass to `logbook.actions`."""

from wearlog.runs.entries import NewRun
from wearlog.service.entries import NewCropChange, NewIncident, NewMeasurement, NewWork

__all__ = ["NewCropChange", "NewIncident", "NewMeasurement", "NewRun", "NewWork"]
