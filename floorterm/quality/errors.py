"""What is wrong with numbers that the quality arithmetic was given."""


class QualityError(ValueError):
    """A quantity that cannot be judged; the sentence says which and why."""
