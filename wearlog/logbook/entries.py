"""What a page, a sheet, a phone's queue or a command hands to `logbook.actions`, in one place."""

from wearlog.runs.entries import NewRun
from wearlog.service.entries import NewCropChange, NewIncident, NewMeasurement, NewWork

__all__ = ["NewCropChange", "NewIncident", "NewMeasurement", "NewRun", "NewWork"]
