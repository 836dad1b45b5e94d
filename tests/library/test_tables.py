"""The two data tables: that they are whole, and how jurisdiction and date pick the items to be named."""

from datetime import date

import pytest

from floorterm.library.tables import (
    JURISDICTIONS,
    AmbiguousNameError,
    UnknownNameError,
    item_named,
    label_item,
    label_items,
    must_be_named,
    oil,
    oil_constituents,
    oil_names,
    prohibited_items,
    whole_oil_items,
    worst_confidence,
)

NOW = date(2026, 11, 25)


def check_digit_holds(cas: str) -> bool:
    """CAS registry rule: the last digit is the others, weighted from the right, modulo 10."""
    digits = cas.replace("-", "")
    total = sum(place * int(digit) for place, digit in enumerate(reversed(digits[:-1]), start=1))
    return total % 10 == int(digits[-1])


def test_the_list_counts_81_items_and_2_prohibited_substances() -> None:
    """Health Canada counts 81 (second-hand); two of the 26 of Directive 2003/15/EC are prohibited."""
    assert sum(not item.prohibited for item in label_items()) == 81
    assert [item.entry for item in label_items() if item.prohibited] == ["79", "83"]


def test_24_older_items_and_57_that_got_the_duty_with_regulation_2023_1545() -> None:
    """Reg. (EU) 2023/1545: 45 new entries 327-371 and 12 older ones, beside 24 that were already labelled."""
    new = {item.entry for item in label_items() if item.since == "2023/1545"}
    older = {"46", "109", "114", "122", "124", "131", "133", "154", "157", "175", "196", "324"}
    assert new == {str(entry) for entry in range(327, 372)} | older
    assert sum(item.since.startswith("2003/15/EC") and not item.prohibited for item in label_items()) == 24


def test_every_entry_number_stands_once() -> None:
    assert len({item.entry for item in label_items()}) == len(label_items())


def test_every_cas_number_has_the_right_check_digit() -> None:
    """The check-digit rule of CAS registry numbers."""
    numbers = [cas for item in label_items() for cas in item.cas]
    numbers += [row.cas for row in oil_constituents() if row.cas]
    assert len(numbers) > 250
    assert [cas for cas in numbers if not check_digit_holds(cas)] == []


def test_thresholds_are_those_of_annex_iii() -> None:
    """Annex III of Reg. (EC) 1223/2009: 0.01 % in rinse-off, 0.001 % in leave-on products."""
    for item in label_items():
        if not item.prohibited:
            assert (item.threshold(leave_on=False), item.threshold(leave_on=True)) == (1e-4, 1e-5)


def test_the_oil_table_has_20_oils_and_every_row_its_source() -> None:
    assert len(oil_names()) == 20
    assert len(oil_constituents()) == 131
    assert all(row.source and row.confidence for row in oil_constituents())
    assert all(0 <= row.lowest <= row.highest <= 1 for row in oil_constituents())


def test_a_listed_constituent_points_at_the_entry_that_bears_its_cas_number() -> None:
    for row in oil_constituents():
        if row.entry:
            assert row.cas in label_item(row.entry).cas, (row.oil, row.constituent)


def test_eight_entries_are_whole_oils_of_the_oil_table() -> None:
    """Clove, geranium, ylang-ylang, patchouli, two cedarwoods, eucalyptus, lemongrass (2023/1545)."""
    assert {item.entry for item in whole_oil_items()} == {
        "122", "347", "354", "355", "356", "358", "364", "365",
    }  # fmt: skip
    assert [row.highest for row in oil("clove bud") if row.whole_oil] == [1.0]


@pytest.mark.parametrize(
    ("place", "day", "count"),
    [
        # EU: the old text may be followed until 31 July 2026 (transition footnotes of Reg. (EU) 2023/1545)
        ("EU", date(2026, 7, 31), 24),
        ("EU", date(2026, 8, 1), 81),
        # Canada: 24 items by 12 April 2026, 81 for new products from 1 August 2026 (second-hand)
        ("CA", date(2026, 4, 11), 0),
        ("CA", date(2026, 4, 12), 24),
        ("CA", date(2026, 7, 31), 24),
        ("CA", date(2026, 8, 1), 81),
        # Great Britain: the 2003 list stays until a GB act changes it (from memory)
        ("GB", NOW, 24),
        # United States: no list in force in the texts seen
        ("US", NOW, 0),
    ],
)
def test_jurisdiction_and_date_pick_the_items(place: str, day: date, count: int) -> None:
    assert len(must_be_named(place, day)) == count


def test_no_jurisdiction_asks_for_a_prohibited_substance_to_be_named() -> None:
    for place in JURISDICTIONS:
        assert not [item for item in must_be_named(place, NOW) if item.prohibited]
        assert len(prohibited_items(place, NOW)) == (0 if place == "US" else 2)


def test_a_duty_from_memory_says_so_although_the_row_was_read() -> None:
    linalool = label_item("84")
    assert linalool.confidence == "text-seen"
    assert linalool.duty("EU", NOW).confidence == "text-seen"
    assert linalool.duty("GB", NOW).confidence == "from-memory"
    assert linalool.duty("CA", NOW).confidence == "second-hand"
    assert linalool.duty("US", NOW) is None


@pytest.mark.parametrize("name", ["Citral", "geranial", "NERAL", "5392-40-5", "citral (geranial + neral)"])
def test_a_substance_finds_the_entry_it_is_summed_under(name: str) -> None:
    assert item_named(name).entry == "70"


def test_a_number_that_two_entries_share_is_not_guessed_at() -> None:
    """72968-50-4 stands in entries 350 (flower oil) and 351 (peel oil): match by plant part."""
    with pytest.raises(AmbiguousNameError) as caught:
        item_named("72968-50-4")
    assert caught.value.items == ("Citrus Aurantium Flower Oil", "Citrus Aurantium Peel Oil")


def test_an_unknown_name_offers_those_that_look_alike() -> None:
    with pytest.raises(UnknownNameError, match="clove leaf") as caught:
        oil("clove laef")
    assert caught.value.near[0] == "clove leaf"
    with pytest.raises(UnknownNameError) as caught:
        item_named("Eugenole")
    assert caught.value.near[0] == "Eugenol"
    with pytest.raises(UnknownNameError):
        label_item("1")


def test_the_worst_confidence_wins() -> None:
    assert worst_confidence() == "text-seen"
    assert worst_confidence("text-seen", "from-memory", "mixed") == "from-memory"
    assert worst_confidence("second-hand", "mixed") == "mixed"
