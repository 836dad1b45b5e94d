"""Exposure limits in air, by body and kind. Nothing here measures air: the hazard assessment decides."""

from msgspec import Struct

from floorterm.lye.tables import Origin, table


class ExposureLimit(Struct, frozen=True):
    """One limit for dust or mist of sodium hydroxide; `mg_m3` is None where the body sets no value.

    `kind` says whether it is an average over hours or a ceiling: they must never be printed as one another.
    """

    region: str
    body: str
    mg_m3: float | None
    kind: str
    origin: Origin


def exposure_limits(region: str) -> tuple[ExposureLimit, ...]:
    """The limits of a region (US, UK, DE, FR); empty for one that the table does not have."""
    return tuple(
        ExposureLimit(
            region, row["body"], row.number("mg_m3") if row["mg_m3"] else None, row["kind"], row.origin
        )
        for row in table("exposure_limits")
        if row["region"] == region
    )
