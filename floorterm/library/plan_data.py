"""What a line's file may say of its plan: outlines of machines and places of points, in metres."""

from typing import Annotated

from msgspec import Struct

from floorterm.library.shapes import Bounds, Length
from floorterm.library.words import Number, Text

Metres = Annotated[Number, Bounds(ge=0, le=500)]


class PlanPlace(Struct, frozen=True, kw_only=True):
    """A place on the line's plan, in metres: `x_m` along the line, `y_m` across it."""

    x_m: Metres
    y_m: Metres


class PlanMachine(Struct, frozen=True, kw_only=True):
    """The outline of a machine on the plan: its corner nearest to the origin, and its size."""

    name: Text
    x_m: Metres
    y_m: Metres
    length_m: Annotated[Number, Bounds(gt=0, le=500)]
    width_m: Annotated[Number, Bounds(gt=0, le=500)]


class LinePlan(Struct, frozen=True, kw_only=True):
    """The line from above, as the printed sheet draws it; `note` says where one stands to read it."""

    length_m: Annotated[Number, Bounds(gt=0, le=500)]
    width_m: Annotated[Number, Bounds(gt=0, le=500)]
    note: Text
    machines: Annotated[tuple[PlanMachine, ...], Length(least=1)]
