"""Free caustic alkali: form of ISO 456 (text from memory); arithmetic by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.lye import TitrationError, free_alkali


def test_a_titre_of_1_24_ml_fails_and_the_limit_lies_at_0_62755_ml() -> None:
    """Hand reckoning: 1.24 * 0.1 * 3.9997 / 5.02 = 0.09880 %; limit 0.05 % from memory."""
    found = free_alkali(1.24, 0.1, 5.02)
    assert found.pct == pytest.approx(0.09880, abs=5e-6)
    assert not found.within
    assert found.titre_at_limit_ml == pytest.approx(0.62755, abs=5e-6)
    assert free_alkali(0.627, 0.1, 5.02).within
    assert not free_alkali(0.628, 0.1, 5.02).within


def test_a_titre_below_the_blank_is_not_detected_and_never_negative() -> None:
    for titre in (0.0, 0.1, 0.2):
        found = free_alkali(titre, 0.1, 5, blank_ml=0.2)
        assert (found.pct, found.detected, found.within) == (0.0, False, True)


def test_the_blank_is_taken_off() -> None:
    assert free_alkali(1.34, 0.1, 5.02, blank_ml=0.1).pct == pytest.approx(0.09880, abs=5e-6)


@given(st.floats(0, 50), st.floats(0, 5), st.floats(0.01, 1), st.floats(0.5, 50), st.floats(0.001, 1))
def test_within_means_not_above_the_titre_at_the_limit(
    titre: float, blank: float, acid: float, sample: float, limit: float
) -> None:
    found = free_alkali(titre, acid, sample, blank_ml=blank, limit_pct=limit)
    if abs(titre - found.titre_at_limit_ml) > 1e-9:
        assert found.within == (titre < found.titre_at_limit_ml)


def test_a_default_limit_is_shown_as_unconfirmed_and_the_plants_own_is_not() -> None:
    assert any(origin.unconfirmed for origin in free_alkali(1, 0.1, 5).origins)
    assert not any(origin.unconfirmed for origin in free_alkali(1, 0.1, 5, limit_pct=0.05).origins)


@pytest.mark.parametrize(
    "figures", [(-0.1, 0.1, 5), (1, 0, 5), (1, -0.1, 5), (1, 0.1, 0), (float("nan"), 0.1, 5), (True, 0.1, 5)]
)
def test_figures_that_give_no_result_are_refused(figures: tuple[float, float, float]) -> None:
    with pytest.raises(TitrationError):
        free_alkali(*figures)
