"""Free caustic alkali by titration in ethanol (form of ISO 456), in % NaOH of the sample.

The limit is the plant's own; the default is from memory and says so.
"""

from msgspec import Struct

from floorterm.lye.errors import TitrationError, number
from floorterm.lye.tables import Origin, figure, figure_origin


class FreeAlkali(Struct, frozen=True):
    """A result in % NaOH. `pct` is 0 and `detected` False where the titre is not above the blank.

    `titre_at_limit_ml` is the titre, blank included, at which the sample stands exactly on the limit.
    """

    pct: float
    detected: bool
    limit_pct: float
    within: bool
    titre_at_limit_ml: float
    origins: tuple[Origin, ...]


def free_alkali(
    titre_ml: float,
    acid_mol_l: float,
    sample_g: float,
    *,
    blank_ml: float = 0.0,
    limit_pct: float | None = None,
) -> FreeAlkali:
    """(V - V_blank) c M / (10 m) with V in ml, c in mol/l of a monoprotic acid, m in g, M of NaOH in g/mol.

    A titre below the blank is reported as not detected, never negative. Raises TitrationError.
    """
    titre = number(TitrationError, "titre_ml", titre_ml, low=0.0)
    blank = number(TitrationError, "blank_ml", blank_ml, low=0.0)
    acid = number(TitrationError, "acid_mol_l", acid_mol_l, low=0.0, low_open=True)
    mass = number(TitrationError, "sample_g", sample_g, low=0.0, low_open=True)
    limit = (
        figure("free_alkali_limit_pct")
        if limit_pct is None
        else number(TitrationError, "limit_pct", limit_pct, low=0.0)
    )
    pct_per_ml = acid * figure("molar_mass") / 10 / mass
    net = titre - blank
    pct = max(net, 0.0) * pct_per_ml
    origins = (
        figure_origin("molar_mass"),
        *((figure_origin("free_alkali_limit_pct"),) if limit_pct is None else ()),
    )
    return FreeAlkali(pct, net > 0, limit, pct <= limit, blank + limit / pct_per_ml, origins)
