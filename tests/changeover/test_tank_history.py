"""What a dosing tank held last: the newest sure use counts, a doubtful one settles nothing."""

import pytest

from floorterm.changeover.acts import Abandon
from floorterm.changeover.tank_history import Use, tanks_held, use_of
from floorterm.changeover.worksheet import to_json
from floorterm.library.model import Library
from floorterm.plant import Plant
from tests.conftest import who

CLOVE, LITSEA, OWN_TANK = Use(sure=("clove-leaf",)), Use(sure=("litsea",)), Use(sure=("juniper",))


@pytest.mark.parametrize(
    ("uses", "held"),
    [
        ((), {}),
        ((CLOVE, LITSEA), {"T12": "clove-leaf"}),
        ((OWN_TANK, LITSEA), {"T12": "litsea"}),
        ((Use(perhaps=("clove-leaf",)), LITSEA), {}),
        ((Use(sure=("juniper",), perhaps=("clove-leaf",)), LITSEA), {}),
        ((Use(sure=("clove-leaf",), perhaps=("litsea",)),), {"T12": "clove-leaf"}),
        ((Use(sure=("gone",)), Use(perhaps=("juniper",)), CLOVE), {"T12": "clove-leaf"}),
    ],
)
def test_the_newest_sure_use_counts(library: Library, uses: tuple[Use, ...], held: dict[str, str]) -> None:
    assert tanks_held(library, "L1", uses) == held


def test_an_abandoned_changeover_may_have_filled_the_tank_or_not(plant: Plant) -> None:
    supervisor = who(plant, "SS")
    plant.state_holds(supervisor, "L1", ("juniper", "litsea"), "counted", key="k1")
    state = plant.start_changeover(supervisor, "L1", "clove-leaf", "k2")
    assert use_of(to_json(state.worksheet), released=True) == Use(sure=("clove-leaf",), perhaps=("litsea",))
    assert use_of(to_json(state.worksheet), released=False) == Use(perhaps=("clove-leaf", "litsea"))


def test_the_plant_knows_from_its_record_what_a_tank_held(plant: Plant) -> None:
    """Line 1 is stated to hold clove, then juniper from its own tank: tank 12 still held clove."""
    supervisor = who(plant, "SS")
    plant.state_holds(supervisor, "L1", ("clove-leaf",), "counted", key="k1")
    plant.state_holds(supervisor, "L1", ("juniper",), "counted", key="k2")
    assert plant.tanks("L1") == {"T12": "clove-leaf"}
    note = plant.worksheet("L1", "petitgrain").flush
    assert note is not None
    assert note.rinse is not None
    assert (note.rinse.held, note.rinse.assumed) == ("clove-leaf", False)


def test_a_changeover_broken_off_leaves_the_tank_unsettled(plant: Plant) -> None:
    supervisor = who(plant, "SS")
    plant.state_holds(supervisor, "L1", ("juniper",), "counted", key="k1")
    state = plant.start_changeover(supervisor, "L1", "clove-leaf", "k2")
    plant.act(state.work, Abandon(reason="no film", holds=("juniper", "clove-leaf")), supervisor, key="k3")
    assert plant.tanks("L1") == {}
    note = plant.worksheet("L1", "petitgrain").flush
    assert note is not None
    assert note.rinse is not None
    assert note.rinse.assumed
