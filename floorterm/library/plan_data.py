"""What a line's file may say of its plan: outlines of machines and places of points, in metres."""

from typing import Annotated

from pydantic import Field

from floorterm.library.words import Model, Number, Text

Metres = Annotated[Number, Field(ge=0, le=500)]


class PlanPlace(Model):
    """A place on the line's plan, in metres: `x_m` along the line, `y_m` across it."""

    x_m: Metres
    y_m: Metres


class PlanMachine(Model):
    """The outline of a machine on the plan: its corner nearest to the origin, and its size."""

    name: Text
    x_m: Metres
    y_m: Metres
    length_m: Annotated[Number, Field(gt=0, le=500)]
    width_m: Annotated[Number, Field(gt=0, le=500)]


class LinePlan(Model):
    """The line from above, as the printed sheet draws it; `note` says where one stands to read it."""

    length_m: Annotated[Number, Field(gt=0, le=500)]
    width_m: Annotated[Number, Field(gt=0, le=500)]
    note: Text
    machines: Annotated[tuple[PlanMachine, ...], Field(min_length=1)]
