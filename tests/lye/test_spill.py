"""A spill: stoichiometry, what a kit reaches, what is never done."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.lye import Kit, OutsideTableError, SpillError, neutralisers, spill


def test_ten_litres_of_50_percent_and_a_kit_of_2_kg_of_citric_acid() -> None:
    """Hand reckoning from molar masses: 15.25 kg, 7.63 kg NaOH, 12.2 kg citric acid; the kit reaches 1.25 kg NaOH,
    1.6 L: absorb, do not try to neutralise."""
    found = spill(50, litres=10, kit=Kit(kg=2))
    assert found.kg == pytest.approx(15.25, abs=0.01)
    assert found.naoh_kg == pytest.approx(7.63, abs=0.01)
    assert found.neutraliser_kg == pytest.approx(12.2, abs=0.05)
    assert found.kit_naoh_kg == pytest.approx(1.25, abs=0.005)
    assert found.kit_l == pytest.approx(1.6, abs=0.05)
    assert found.advice == "absorb_only"


@pytest.mark.parametrize(
    ("neutraliser", "molar_mass", "lye_a_mol", "written"),
    [
        ("citric_anhydrous", 192.12, 3, 1.60),
        ("citric_monohydrate", 210.14, 3, 1.75),
        ("acetic", 60.05, 1, 1.50),
        ("bicarbonate", 84.01, 1, 2.10),
    ],
)
def test_kg_of_neutraliser_a_kg_of_lye(
    neutraliser: str, molar_mass: float, lye_a_mol: int, written: float
) -> None:
    """Stoichiometry from IUPAC molar masses, half a per cent for the two decimals of the table."""
    found = spill(40, kg=100, kit=Kit(neutraliser=neutraliser))
    assert found.neutraliser_kg / found.naoh_kg == pytest.approx(written)
    assert written == pytest.approx(molar_mass / lye_a_mol / 39.997, rel=5e-3)


def test_a_kg_of_lye_is_25_mol_and_takes_30_kg_of_vinegar() -> None:
    """1000 / 39.997 = 25.0 mol; acetic acid 1.50 kg, so 30 kg of 5 %."""
    found = spill(50, kg=2, kit=Kit(neutraliser="acetic", pct=5))
    assert found.naoh_kg == pytest.approx(1)
    assert found.naoh_mol == pytest.approx(25.0, abs=0.01)
    assert found.neutraliser_kg == pytest.approx(30)
    assert "lye.warning.vapour" in [say.key for say in found.warnings]


def test_bicarbonate_is_said_not_to_end_neutral() -> None:
    """Ends at carbonate, about pH 11 to 12: stoichiometry of one proton."""
    assert "lye.warning.not_neutral" in [
        say.key for say in spill(10, kg=1, kit=Kit(neutraliser="bicarbonate")).warnings
    ]


def test_a_strong_acid_is_never_reckoned_with() -> None:
    """Handling guides, read: never strong acid on concentrated lye."""
    assert "hydrochloric" not in neutralisers()
    with pytest.raises(SpillError) as caught:
        spill(50, litres=1, kit=Kit(neutraliser="hydrochloric", kg=100))
    assert caught.value.say.key == "lye.error.strong_acid"


def test_within_the_kits_reach_absorbing_still_comes_first() -> None:
    assert spill(50, litres=1.5, kit=Kit(kg=2)).advice == "absorb_then_residue"
    assert spill(50, litres=1.7, kit=Kit(kg=2)).advice == "absorb_only"


def test_without_a_kit_nothing_is_neutralised() -> None:
    found = spill(5, litres=0.1)
    assert found.advice == "absorb_only"
    assert "lye.warning.absorbent_unknown" in [say.key for say in found.warnings]


def test_more_than_the_absorbent_takes_up_means_leave_and_call() -> None:
    """A big spill: leave and call; common practice, no source."""
    assert spill(10, litres=21, kit=Kit(kg=100, absorbs_l=20)).advice == "leave_and_call"
    assert spill(10, litres=20, kit=Kit(kg=100, absorbs_l=20)).advice == "absorb_then_residue"


def test_the_safety_officer_is_told_well_below_the_report_quantity() -> None:
    """1000 lb = 454 kg in 24 h, 40 CFR 302.4, from memory: about 595 L of 50 %; told from a tenth of it on."""
    assert spill(50, litres=596).reportable
    assert not spill(50, litres=594).reportable
    assert spill(50, litres=60).tell_safety_officer
    assert not spill(50, litres=59).tell_safety_officer


@given(st.floats(0.5, 50), st.floats(0.1, 1000), st.floats(10, 100))
def test_kg_and_litres_tell_the_same_spill(mass_pct: float, litres: float, temperature_c: float) -> None:
    one = spill(mass_pct, litres=litres, temperature_c=temperature_c)
    other = spill(mass_pct, kg=one.kg, temperature_c=temperature_c)
    assert other.litres == pytest.approx(litres)
    assert other.naoh_kg == pytest.approx(one.naoh_kg) == pytest.approx(one.kg * mass_pct / 100)


@given(st.floats(0.5, 50), st.floats(0.01, 50))
def test_what_the_kit_reaches_takes_exactly_the_kit(mass_pct: float, kit_kg: float) -> None:
    reach = spill(mass_pct, litres=1, kit=Kit(kg=kit_kg)).kit_l
    assert spill(mass_pct, litres=reach, kit=Kit(kg=kit_kg)).neutraliser_kg == pytest.approx(kit_kg)


def test_a_spill_that_makes_no_sense_is_refused() -> None:
    for amount in ({}, {"litres": 1.0, "kg": 1.0}, {"litres": 0.0}, {"kg": -1.0}):
        with pytest.raises(SpillError):
            spill(50, **amount)  # type: ignore[arg-type]
    for kit in (Kit(neutraliser="sand"), Kit(kg=-1), Kit(pct=0), Kit(pct=101), Kit(absorbs_l=-1)):
        with pytest.raises(SpillError):
            spill(50, litres=1, kit=kit)
    with pytest.raises(SpillError):
        spill(0, litres=1)
    for outside in ({"mass_pct": 51.0}, {"mass_pct": 50.0, "temperature_c": 9.0}):
        with pytest.raises(OutsideTableError):
            spill(litres=1, **outside)  # type: ignore[arg-type]
