"""What the calibration refuses: each error names the field at fault and gives no number instead."""

from floorterm.flush.errors import FlushError
from floorterm.wording import Fact, Say, sentence


class CalibrationError(FlushError):
    """Readings or figures that nothing can be fitted to."""

    def __init__(self, field: str, reason: str, **facts: Fact) -> None:
        self.field = field
        self.say = Say(f"calibrate.error.{reason}", {"field": field, **facts})
        ValueError.__init__(self, sentence(self.say))


class SampleError(CalibrationError):
    """A check sample, or a line of a file of them, that cannot be read; `field` names line and column."""


class NotFallingError(CalibrationError):
    """Readings that do not fall with the kg pushed: no washout can be fitted to them."""


class NotIdentifiableError(CalibrationError):
    """A figure that these readings say nothing about: it must be set, not fitted."""


class ProgressError(CalibrationError):
    """A count, weight or time from which no pushed kg follow."""
