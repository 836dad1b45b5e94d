"""What a verification comes to, in sentences: what is sealed, and what is only chained. Pure."""

from floorterm.ledger.walk import Report
from floorterm.wording import Count, Fact, Say


def verdict(report: Report) -> tuple[Say, ...]:
    """What the seals that were given say of the entries; a chain that holds by itself is said to be no more."""
    if not report.entries:
        return ()
    found: list[Say] = []
    if report.sealed_n:
        span: dict[str, Fact] = {
            "first": Count(report.first),
            "last": Count(report.sealed_n),
            "at": report.sealed_at,
        }
        found.append(Say("proof.sealed", span))
    elif not report.seals:
        found.append(Say("proof.no_seal_given"))
    else:
        found.append(Say("proof.none_holds", {"n": report.seals}))
    if report.differs_n:
        found.append(Say("proof.differs", {"number": Count(report.differs_n)}))
    elif newer := report.n - max(report.sealed_n, report.first - 1):
        found.append(Say("proof.newer", {"n": newer, "count": Count(newer)}))
    return tuple(found)
