"""What the files say about quality: bars, the plant's rule of net content, how a reading is worked out."""

from decimal import Decimal
from typing import Annotated, Literal

from pydantic import Field, model_validator

from floorterm.library.words import Id, Model, Number, Positive, Whole, unbroken


class BarFormat(Model):
    """A format of bars and the mass on its label, in g."""

    id: Id
    nominal_g: Positive


class DriedBasis(Model):
    """Soap dries in store: moisture in % when it is packed, and where the bar is judged once more."""

    packed_pct: Annotated[Number, Field(ge=0, lt=100)]
    shop_pct: Annotated[Number, Field(ge=0, lt=100)]


class NetContentPolicy(Model):
    """Under which rule of net content the plant stands.

    `average`: 76/211/EEC and the UK's regulations, with one of their plans. `individual`: the form of NIST Handbook
    133, category A, which has one plan a lot.
    """

    regime: Literal["average", "individual"] = "average"
    plan: Literal["double", "single", "destructive"] = "destructive"
    dried: DriedBasis | None = None


class MethodSpec(Model):
    """How a reading is worked out from what is entered.

    `masses`: g of each bar, in the order of the cavities. `colour`: L a b of each bar, or reflectance of its three
    bands in %. `triangle`: answers and right ones. `oven`: g of dish, with soap, dried. `dose`: kg in the tank at
    the start, at the end, added, and kg of soap. `defects`: how many of the sample are bad. `lot` counts bars.
    """

    name: Literal["masses", "colour", "triangle", "oven", "dose", "defects"]
    lot: Annotated[Whole, Field(ge=2, le=10_000_000)] | None = None
    cavities: Annotated[Whole, Field(ge=1, le=64)] = 1
    reads: Literal["lab", "bands"] = "lab"
    risk: Annotated[Number, Field(gt=0, le=Decimal("0.5"))] = Decimal("0.05")
    level: Literal["I", "II", "III"] = "II"
    aql: Literal["0.65", "1.0", "1.5", "2.5", "4.0"] | None = None

    @model_validator(mode="after")
    def _has_its_fields(self) -> "MethodSpec":
        wants = {"masses": ("lot",), "defects": ("lot", "aql")}
        owners = {
            "lot": ("masses", "defects"), "cavities": ("masses",), "reads": ("colour",), "risk": ("triangle",),
            "level": ("defects",), "aql": ("defects",),
        }  # fmt: skip
        broken = [
            f"{field}: the value that the method {self.name} needs"
            for field in wants.get(self.name, ())
            if getattr(self, field) is None
        ]
        broken += [
            f"{field}: nothing, as only {' and '.join(methods)} has it"
            for field, methods in owners.items()
            if self.name not in methods and field in self.model_fields_set
        ]
        return unbroken(self, broken)
