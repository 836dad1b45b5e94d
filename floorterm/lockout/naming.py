"""Names of a job's places as facts of a sentence, one fact a language."""

from collections.abc import Iterable

from floorterm.lockout.model import BOX
from floorterm.lockout.state import LockoutState
from floorterm.wording import LANGUAGES, Fact, in_each_language, words


def place_facts(state: LockoutState, places: Iterable[str]) -> dict[str, Fact]:
    """The names of points, and of the lock box, as `points_en`, `points_es`."""
    names = {point.id: point.name for point in state.job.points}
    box = {language: words("lockout.box", language) for language in LANGUAGES}
    spoken = [
        in_each_language("points", box if place == BOX else names.get(place, {}), place) for place in places
    ]
    return {key: ", ".join(str(each[key]) for each in spoken) for key in in_each_language("points", {})}
