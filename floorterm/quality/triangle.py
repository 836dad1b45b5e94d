"""The triangle test: of three samples two are alike; by guessing one in three answers is right."""

from math import comb

from floorterm.quality.errors import QualityError


def chance_by_guessing(answers: int, right: int) -> float:
    """Chance of at least so many right answers if nobody notices a difference (binomial, p = 1/3)."""
    if not 0 <= right <= answers:
        raise QualityError("Right answers are between none and all of them.")
    ways = sum(comb(answers, one) * 2 ** (answers - one) for one in range(right, answers + 1))
    chance: float = ways / 3**answers
    return chance


def least_right(answers: int, risk: float = 0.05) -> int | None:
    """The fewest right answers that show a difference at that risk; None where not even all would do.

    The published tables of the triangle test are this binomial limit.
    """
    if answers < 1 or not 0 < risk < 1:
        raise QualityError("A panel gives at least one answer, and the risk lies between 0 and 1.")
    found = (right for right in range(answers + 1) if chance_by_guessing(answers, right) <= risk)
    return next(found, None)


def differs(answers: int, right: int, risk: float = 0.05) -> bool:
    """Whether a panel found a difference. That it did not is no proof that there is none."""
    least = least_right(answers, risk)
    chance_by_guessing(answers, right)  # refuses impossible counts
    return least is not None and right >= least
