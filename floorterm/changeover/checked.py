"""What check samples taken while flushing say about the kg that are still needed."""

from msgspec import Struct

from floorterm.changeover.flush_case import Case
from floorterm.flush import Washout
from floorterm.flush.progress import Learnt, Revision, Spread, learn, revise
from floorterm.flush.quantity import round_up
from floorterm.flush.samples import Samples, refuse_rising
from floorterm.wording import Say

SAMPLE_ERROR = 0.1  # declared guess: relative error of a check sample (1 sd) where nobody states one


class Checked(Struct, frozen=True, kw_only=True):
    """The requirement after check samples. `last_kg`: line mass at the last of them.

    `to_go_kg` and `to_go_sure_kg` count from there: by the median, and to be sure.
    """

    samples: Samples
    learnt: Learnt
    revision: Revision
    last_kg: float

    @property
    def planning_kg(self) -> int:
        """Line mass in kg by the median."""
        return round_up(self.revision.planning_kg)

    @property
    def promise_kg(self) -> int:
        """Line mass in kg to be sure."""
        return round_up(self.revision.promise_kg)

    @property
    def to_go_kg(self) -> int:
        """Still to push after the last sample, by the median."""
        return max(0, round_up(self.revision.planning_kg - self.last_kg))

    @property
    def to_go_sure_kg(self) -> int:
        """Still to push after the last sample, to be sure."""
        return max(0, round_up(self.revision.promise_kg - self.last_kg))

    @property
    def says(self) -> tuple[Say, ...]:
        """What a person must know, the revision first."""
        return (self.revision.say, *self.learnt.says, *self.samples.says)


def checked(case: Case, samples: Samples, *, relative_error: float = SAMPLE_ERROR) -> Checked:
    """What samples of this changeover make of its flush: holdup learnt, requirement revised.

    Raises NotFallingError for samples that do not fall with the kg, CalibrationError naming the field for the
    rest: no sample, one at or below what the feed carries, a limit that is never reached.
    """
    return checked_by(
        case.curve,
        case.limit.value,
        float(case.quantity.required_kg),
        case.spread,
        samples,
        confidence=case.confidence,
        relative_error=relative_error,
    )


def checked_by(
    curve: Washout,
    limit: float,
    required_kg: float,
    before: Spread,
    samples: Samples,
    *,
    confidence: float,
    relative_error: float = SAMPLE_ERROR,
) -> Checked:
    """The same for a curve that is known: `required_kg` stands now, `before` is what was known of the holdup."""
    readings = samples.readings
    if len(readings) > 1:
        refuse_rising(samples)
    learnt = learn(curve, readings, before, relative_error=relative_error)
    revision = revise(curve, limit, required_kg, learnt.spread, confidence=confidence)
    return Checked(samples=samples, learnt=learnt, revision=revision, last_kg=readings[-1].m_kg)
