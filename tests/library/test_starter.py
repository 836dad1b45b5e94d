"""The checklists that ship with the program: they load, and they hold what the first plant needs."""

from pathlib import Path

import pytest

from floorterm.library import Library, load, starter_folder, translation_gaps
from floorterm.library.documents import ENTER, LEAVE
from floorterm.library.tables import item_named, oil


@pytest.fixture(scope="module")
def starter() -> Library:
    """The starter set, read once."""
    return load(starter_folder())


def test_the_starter_folder_is_the_one_of_the_source_tree_or_of_the_wheel() -> None:
    folder = starter_folder()
    assert (folder / "plant.yaml").is_file()
    assert folder.name in ("checklists", "starter")


def test_the_wheel_carries_its_own_folder_before_the_source_tree(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from floorterm.library import starter as module

    (tmp_path / "floorterm/library").mkdir(parents=True)
    (tmp_path / "checklists").mkdir()
    monkeypatch.setattr(module, "__file__", str(tmp_path / "floorterm/library/starter.py"))
    assert starter_folder() == tmp_path / "checklists"
    (tmp_path / "floorterm/starter").mkdir()
    assert starter_folder() == tmp_path / "floorterm/starter"


def test_it_holds_two_lines_and_eight_fragrances_at_least(starter: Library) -> None:
    assert len(starter.lines) >= 2
    assert len(starter.fragrances) >= 8


def test_every_line_has_a_dedicated_or_a_shared_tank_and_one_of_each_stands_somewhere(
    starter: Library,
) -> None:
    kinds = {tank.only is None for line in starter.lines.values() for tank in line.tanks}
    assert kinds == {True, False}


def test_the_fragrances_differ_in_what_matters(starter: Library) -> None:
    bars = starter.fragrances.values()
    assert any(bar.unscented for bar in bars)
    assert any(bar.leave_on for bar in bars)
    assert any("dark" in bar.tags for bar in bars)
    assert any(bar.claims for bar in bars)
    assert any(item_named(name).name.endswith("Oil") for bar in bars for name in bar.label)


def test_every_constituent_of_every_oil_in_use_has_its_source(starter: Library) -> None:
    oils = {share.oil for bar in starter.fragrances.values() for share in bar.oils}
    assert len(oils) >= 8
    for name in oils:
        for constituent in oil(name):
            assert constituent.source, f"{name}: {constituent.constituent}"
            assert constituent.confidence


def test_every_fragrance_names_its_own_source(starter: Library) -> None:
    for bar in starter.fragrances.values():
        assert bar.source
        assert all(item.source for item in bar.background)


def test_every_isolation_point_says_how_it_is_verified(starter: Library) -> None:
    """29 CFR 1910.147(d)(6): isolation is verified before work starts; (d)(5): stored energy is relieved."""
    for line in starter.lines.values():
        for point in line.points:
            assert point.verify.method.en
            assert point.verify.expect.en
            assert point.release_how is not None or not point.needs_release


def test_the_sequence_ends_with_a_first_article_check_and_a_release(starter: Library) -> None:
    sections = [
        section
        for block in starter.sequence.blocks
        if block not in (LEAVE, ENTER)
        for section in starter.blocks[block].sections
    ]
    assert any(section.first_article for section in sections)
    assert any(section.lockout for section in sections)
    kinds = {step.kind for section in sections for step in section.steps}
    assert {"confirm", "reading", "choice", "scan", "wait", "flush"} <= kinds


def test_at_most_a_few_texts_wait_for_a_reviewer(starter: Library) -> None:
    """Of German nobody has reviewed any, and all of it is marked as a draft."""
    gaps = translation_gaps(starter)
    assert all(gap.kind == "unreviewed" for gap in gaps)
    assert len([gap for gap in gaps if gap.language != "de"]) < 10
    assert all(not one.name.de and one.name.de_draft for one in starter.fragrances.values())
