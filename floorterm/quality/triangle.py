"""The triangle test: of three samples two are alike; by guessing one in three answers is right."""

from math import comb

from floorterm.quality.errors import QualityError

MOST_ANSWERS = 500  # far more than any panel; a slip of the hand must not compute for minutes


def _possible(answers: int) -> None:
    if answers > MOST_ANSWERS:
        raise QualityError(f"A panel gives at most {MOST_ANSWERS} answers.")


def chance_by_guessing(answers: int, right: int) -> float:
    """Chance of at least so many right answers if nobody notices a difference (binomial, p = 1/3)."""
    _possible(answers)
    if not 0 <= right <= answers:
        raise QualityError("Right answers are between none and all of them.")
    ways = sum(comb(answers, one) * 2 ** (answers - one) for one in range(right, answers + 1))
    chance: float = ways / 3**answers
    return chance


def least_right(answers: int, risk: float = 0.05) -> int | None:
    """The fewest right answers that show a difference at that risk; None where not even all would do.

    The published tables of the triangle test are this binomial limit.
    """
    _possible(answers)
    if answers < 1 or not 0 < risk < 1:
        raise QualityError("A panel gives at least one answer, and the risk lies between 0 and 1.")
    ways, least = 0, None
    for right in range(answers, -1, -1):  # from all of them down: each term is summed once
        ways += comb(answers, right) * 2 ** (answers - right)
        if ways / 3**answers > risk:
            break
        least = right
    return least


def differs(answers: int, right: int, risk: float = 0.05) -> bool:
    """Whether a panel found a difference. That it did not is no proof that there is none."""
    least = least_right(answers, risk)
    chance_by_guessing(answers, right)  # refuses impossible counts
    return least is not None and right >= least
