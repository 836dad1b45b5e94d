"""What the files say about quality: bars, the plant's rule of net content, how a reading is worked out."""

from decimal import Decimal
from typing import Annotated, Literal

from msgspec import Struct

from floorterm.library.shapes import Bounds
from floorterm.library.words import Id, Number, Positive, Whole, unbroken


class BarFormat(Struct, frozen=True, kw_only=True):
    """A format of bars and the mass on its label, in g."""

    id: Id
    nominal_g: Positive


class DriedBasis(Struct, frozen=True, kw_only=True):
    """Soap dries in store: moisture in % when it is packed, and where the bar is judged once more."""

    packed_pct: Annotated[Number, Bounds(ge=0, lt=100)]
    shop_pct: Annotated[Number, Bounds(ge=0, lt=100)]


class NetContentPolicy(Struct, frozen=True, kw_only=True):
    """Under which rule of net content the plant stands.

    `average`: 76/211/EEC and the UK's regulations, with one of their plans. `individual`: the form of NIST Handbook
    133, category A, which has one plan a lot.
    """

    regime: Literal["average", "individual"] = "average"
    plan: Literal["double", "single", "destructive"] = "destructive"
    dried: DriedBasis | None = None


class MethodSpec(Struct, frozen=True, kw_only=True):
    """How a reading is worked out from what is entered.

    `masses`: g of each bar, in the order of the cavities. `colour`: L a b of each bar, or reflectance of its three
    bands in %. `triangle`: answers and right ones. `oven`: g of dish, with soap, dried. `dose`: kg in the tank at
    the start, at the end, added, and kg of soap. `defects`: how many of the sample are bad. `lot` counts bars.
    What is left out is `method_note`'s to fill in.
    """

    name: Literal["masses", "colour", "triangle", "oven", "dose", "defects"]
    lot: Annotated[Whole, Bounds(ge=2, le=10_000_000)] | None = None
    cavities: Annotated[Whole, Bounds(ge=1, le=64)] | None = None
    reads: Literal["lab", "bands"] | None = None
    risk: Annotated[Number, Bounds(gt=0, le=Decimal("0.5"))] | None = None
    level: Literal["I", "II", "III"] | None = None
    aql: Literal["0.65", "1.0", "1.5", "2.5", "4.0"] | None = None

    def __post_init__(self) -> None:
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
            if self.name not in methods and getattr(self, field) is not None
        ]
        unbroken(broken)
