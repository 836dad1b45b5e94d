"""The data that ships: every row has a source and a status, and what nobody confirmed shows as that."""

from importlib.resources import files

import pytest

from floorterm.lye import dilute, estimate, judge
from floorterm.lye.errors import TableError
from floorterm.lye.tables import STATUSES, Origin, figure, read, table

NAMES = sorted(
    file.name.removesuffix(".csv")
    for file in (files("floorterm.lye") / "data").iterdir()
    if file.name.endswith(".csv")
)


@pytest.mark.parametrize("name", NAMES)
def test_every_row_names_its_source_and_status(name: str) -> None:
    rows = table(name)
    assert rows
    for row in rows:
        assert row.origin.source
        assert row.origin.status in STATUSES
        if "from memory" in row.origin.source or "no source" in row.origin.source:
            assert row.origin.status in {"from-memory", "partly-seen"}, row


def test_every_table_is_told_in_the_sources() -> None:
    told = (files("floorterm.lye") / "data" / "SOURCES.md").read_text(encoding="utf-8")
    for name in NAMES:
        assert f"{name}.csv" in told, name


def test_nothing_counts_as_confirmed_until_a_person_put_a_name_there() -> None:
    remembered = Origin("t", "s", "from-memory", "")
    assert remembered.unconfirmed
    assert not Origin("t", "s", "from-memory", "C. Iversen").unconfirmed
    assert not Origin("t", "s", "text-seen", "").unconfirmed
    for name in NAMES:
        for row in table(name):
            assert row.origin.unconfirmed == (row.origin.status != "text-seen"), row


def test_the_grids_are_whole_and_rise_with_temperature() -> None:
    points = {(r.number("temperature_c"), r.number("mass_pct")): r for r in table("enthalpy")}
    assert len(points) == 110
    assert points.keys() == {
        (r.number("temperature_c"), r.number("mass_pct")) for r in table("density_ratio")
    }
    for (t, w), row in points.items():
        if t < 100:
            assert row.number("enthalpy_kj_kg") < points[t + 10, w].number("enthalpy_kj_kg")


def test_points_outside_the_correlations_own_range_are_marked() -> None:
    """Range stated by the correlation: up to 46 % at 15 to 26 C, 42 % at 10 to 15 C."""
    marked = {
        (row.number("temperature_c"), row.number("mass_pct"))
        for row in table("enthalpy")
        if row.origin.status == "computed-outside-range"
    }
    assert marked == {(10, 45), (10, 50), (20, 50)}
    made = dilute(50, 10, total_kg=100)
    assert "computed-outside-range" in {one.status for one in estimate(made).origins}
    warm = dilute(50, 10, total_kg=100, stock_c=30)
    assert "computed-outside-range" not in {one.status for one in estimate(warm).origins}


def test_a_default_limit_is_named_as_unconfirmed_and_the_sites_own_is_not() -> None:
    made = dilute(50, 10, total_kg=100)
    heat = estimate(made)
    defaults = {one.source for one in judge(made, heat).origins}
    own = {one.source for one in judge(made, heat, limit_c=55, water_max_c=30).origins}
    assert any("plastic vessels" in source for source in defaults)
    assert not any("plastic vessels" in source for source in own)


def test_molar_mass_is_the_sum_of_the_atomic_masses() -> None:
    """IUPAC: Na 22.98977, O 15.9994, H 1.00794."""
    assert figure("molar_mass") == pytest.approx(22.98977 + 15.9994 + 1.00794, abs=5e-4)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("x,source,status\n1,s,computed\n", "confirmed_by"),
        ("x,source,status,confirmed_by\n1,,computed,\n", "names its source"),
        ("x,source,status,confirmed_by\n1,s,hearsay,\n", "hearsay"),
    ],
)
def test_a_row_without_source_or_with_an_unknown_status_is_no_data(text: str, told: str) -> None:
    with pytest.raises(TableError, match=told):
        read("made-up", text)


def test_a_cell_that_is_no_number_is_named() -> None:
    (row,) = read("made-up", "x,source,status,confirmed_by\nmany,s,computed,\n")
    with pytest.raises(TableError, match="many"):
        row.number("x")
