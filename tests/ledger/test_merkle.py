"""Merkle trees: the public vectors of RFC 6962's test data, and every proof of every small tree."""

import hashlib

import pytest

from floorterm.ledger.merkle import (
    EMPTY,
    Growing,
    consistency_proof,
    inclusion_proof,
    is_extension,
    is_included,
    leaf_hash,
    root_of,
)

# the eight leaves and their roots as in the test data of Certificate Transparency (RFC 6962)
_DATA = (
    "", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f",
)  # fmt: skip
_ROOTS = (
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)
_LEAVES = [leaf_hash(bytes.fromhex(data)) for data in _DATA]
_MOST = 40


@pytest.mark.parametrize("size", range(9))
def test_the_root_is_that_of_the_public_test_data(size: int) -> None:
    assert root_of(_LEAVES[:size]).hex() == _ROOTS[size]


def test_the_proofs_are_those_of_the_public_test_data() -> None:
    assert [step.hex() for step in inclusion_proof(_LEAVES, 5)] == [
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        _ROOTS[4],
    ]
    assert [step.hex() for step in consistency_proof(_LEAVES, 6)] == [
        "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        _ROOTS[4],
    ]


def _recursive(leaves: list[bytes]) -> bytes:
    """The root as section 2.1 of RFC 6962 defines it, without regard to speed."""
    if not leaves:
        return EMPTY
    if len(leaves) == 1:
        return leaves[0]
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    pair = _recursive(leaves[:k]) + _recursive(leaves[k:])
    return hashlib.sha256(b"\x01" + pair).digest()


_MANY = [leaf_hash(str(number).encode()) for number in range(_MOST)]


def test_a_tree_that_grows_has_the_root_of_the_definition_at_every_size() -> None:
    tree = Growing()
    for size in range(_MOST + 1):
        assert tree.root() == _recursive(_MANY[:size])
        assert tree.size == size
        if size < _MOST:
            tree.add(_MANY[size])
    assert len(tree._whole) == bin(_MOST).count("1")  # a hash for each full tree, whatever was added


def test_every_inclusion_proof_of_every_tree_up_to_40_leaves_is_accepted_and_no_altered_one() -> None:
    other = leaf_hash(b"other")
    for size in range(1, _MOST + 1):
        leaves = _MANY[:size]
        root = root_of(leaves)
        for index in range(size):
            proof = inclusion_proof(leaves, index)
            assert is_included(leaves[index], index, size, proof, root)
            assert not is_included(other, index, size, proof, root)
            assert not is_included(leaves[index], index, size, proof, other)
            assert not is_included(leaves[index], index, size, (*proof, other), root)
            assert not is_included(leaves[index], (index + 1) % size, size, proof, root) or size == 1
            for place in range(len(proof)):
                assert not is_included(
                    leaves[index], index, size, (*proof[:place], other, *proof[place + 1 :]), root
                )
                assert not is_included(leaves[index], index, size, proof[:place], root)


def test_every_consistency_proof_of_every_tree_up_to_40_leaves_is_accepted_and_no_altered_one() -> None:
    other = leaf_hash(b"other")
    roots = [root_of(_MANY[:size]) for size in range(_MOST + 1)]
    for size in range(1, _MOST + 1):
        for old in range(1, size + 1):
            proof = consistency_proof(_MANY[:size], old)
            assert is_extension(old, size, roots[old], roots[size], proof)
            assert not is_extension(old, size, other, roots[size], proof)
            assert not is_extension(old, size, roots[old], other, proof)
            assert not is_extension(old, size, roots[old], roots[size], (*proof, other))
            for place in range(len(proof)):
                altered = (*proof[:place], other, *proof[place + 1 :])
                assert not is_extension(old, size, roots[old], roots[size], altered)
                assert not is_extension(old, size, roots[old], roots[size], proof[:place])


def test_what_no_tree_has_is_no_proof() -> None:
    for index in (-1, 8):
        with pytest.raises(IndexError):
            inclusion_proof(_LEAVES, index)
        assert not is_included(_LEAVES[0], index, 8, (), root_of(_LEAVES))
    for old in (0, 9):
        with pytest.raises(IndexError):
            consistency_proof(_LEAVES, old)
        assert not is_extension(old, 8, EMPTY, root_of(_LEAVES), ())
