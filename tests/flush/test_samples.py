"""Check samples: what is read from a file, what is refused, and that every refusal names line and field."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.flush.calibrate import (
    CalibrationError,
    NotFallingError,
    Sample,
    SampleError,
    fit,
    read_samples,
    samples,
)
from floorterm.wording import LANGUAGES, sentence

FALLING = ((100.0, 0.9), (200.0, 0.6), (300.0, 0.3), (400.0, 0.1))


@pytest.mark.parametrize(
    "text",
    [
        "m_kg,residual\n100,0.9\n200,0.25\n",
        "m_kg;residual\n100;0,9\n200;0,25\n",
        "m_kg\tresidual\n100\t0,9\n200\t0.25\n",
        'm_kg,residual\n100,"0,9"\n200,"0,25"\n',
        "\ufeffm_kg;residual\r\n100;0.9\r\n\r\n200;,25\r\n",
        "# taken by hand\nnote;residual;M_kg\nearly;9e-1;100\n;;\nlate;2,5e-1;200\n",
        "m_kg,residual_percent\n100,90\n200,25 %\n",
        "m_kg,residual\n200,0.25\n100,0.9\n",
    ],
)
def test_the_same_two_readings_come_out_of_every_way_to_write_them(text: str) -> None:
    assert read_samples(text).readings == (Sample(100.0, 0.9), Sample(200.0, 0.25))


def test_readings_below_the_detection_limit_are_counted_and_never_zero() -> None:
    text = "m_kg;residual\n100;0,9\n200;0,25\n300;<0,002\n400;nd\n500;0,001\n"
    found = read_samples(text, detection_limit=0.002)
    assert [one.m_kg for one in found.readings] == [100.0, 200.0]
    assert found.below_detection == 3
    assert "3 readings below the detection limit were left out" in sentence(found.says[0])
    assert samples(((100.0, 0.9), (500.0, 0.001), (600.0, 0.0)), detection_limit=0.002).below_detection == 2


@pytest.mark.parametrize(
    ("text", "field", "word"),
    [
        ("", "samples", "no reading"),
        ("m_kg,r\n1,0.5\n", "line 1, residual", "missing"),
        ("kg,residual\n1,0.5\n", "line 1, m_kg", "missing"),
        ("m_kg,residual,residual\n1,0.5,0.5\n", "line 1, residual", "twice"),
        ("m_kg,residual,residual_percent\n1,0.5,50\n", "line 1, residual", "side by side"),
        ("m_kg,residual\n100,0.9\n200,25%\n", "line 3, residual", "in percent"),
        ("m_kg,residual\n100,0.9\n200,25\n", "line 3, residual", "above 1"),
        ("m_kg,residual\n100,1\n", "line 2, residual", "not below 1"),
        ("m_kg,residual_percent\n100,100\n", "line 2, residual_percent", "100 %"),
        ("m_kg,residual\n100,0.00\n", "line 2, residual", "<0.002"),
        ("m_kg,residual\n100,-0.1\n", "line 2, residual", "no reading of a residue"),
        ("m_kg,residual\n-1,0.5\n", "line 2, m_kg", "below 0"),
        ("m_kg,residual\n100,\n", "line 2, residual", "nothing stands here"),
        ("m_kg,residual\n100,half\n", "line 2, residual", "number is expected"),
        ("m_kg,residual\n100,nan\n", "line 2, residual", "number is expected"),
        ("m_kg,residual\n1e999,0.5\n", "line 2, m_kg", "finite"),
        ("m_kg;residual\n1.234,5;0,5\n", "line 2, m_kg", "thousands"),
        ("m_kg,residual\n100,0,9\n", "line 2", "semicolons"),
        ("m_kg,residual\n100,<much\n", "line 2, residual", "number is expected"),
        ('m_kg,residual\n100,"0.5\n', "line 2", "cannot be read"),
        ("m_kg,residual\n-5,nd\n", "line 2, m_kg", "below 0"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_line_and_field(text: str, field: str, word: str) -> None:
    with pytest.raises(SampleError) as caught:
        read_samples(text)
    assert caught.value.field == field
    assert word in str(caught.value)
    assert str(caught.value).startswith(field)
    for language in LANGUAGES:
        assert field in sentence(caught.value.say, language)


def test_pairs_are_refused_with_the_place_of_the_reading() -> None:
    with pytest.raises(SampleError) as caught:
        samples(((100.0, 0.5), (200.0, 0.0)))
    assert caught.value.field == "samples[1], residual"


@given(
    st.lists(st.tuples(st.floats(0, 1e5), st.floats(1e-12, 1.0, exclude_max=True)), min_size=1, max_size=9),
    st.sampled_from([(",", "."), (";", ","), (";", "."), ("\t", ",")]),
)
def test_what_is_written_is_read_back_to_the_last_digit(
    pairs: list[tuple[float, float]], marks: tuple[str, str]
) -> None:
    delimiter, point = marks
    rows = [f"{kg!r}{delimiter}{r!r}".replace(".", point) for kg, r in pairs]
    text = f"m_kg{delimiter}residual\n" + "\n".join(rows)
    expected = sorted((Sample(kg, r) for kg, r in pairs), key=lambda one: one.m_kg)
    assert list(read_samples(text).readings) == expected


@given(st.text(max_size=80))
def test_no_text_ends_in_anything_but_samples_or_a_sentence(text: str) -> None:
    with suppress(SampleError):
        assert all(0 < one.residual < 1 for one in read_samples("m_kg;residual\n" + text).readings)


def test_fewer_than_four_readings_are_refused() -> None:
    """A rule of this program: two figures and a scatter need them."""
    with pytest.raises(SampleError, match="3 usable readings; at least 4"):
        fit(samples(FALLING[:3]))
    assert fit(samples(FALLING)).degrees == 2


def test_a_plug_to_be_fitted_costs_a_reading() -> None:
    five = samples((*FALLING, (500.0, 0.03)))
    assert fit(five, plug_kg=None).degrees == 2
    assert fit(samples(FALLING), plug_kg=None).degrees == 1


@pytest.mark.parametrize(
    ("values", "side"), [((0.95, 0.9, 0.8, 0.7), "above"), ((0.4, 0.3, 0.2, 0.1), "below")]
)
def test_readings_on_one_side_of_a_half_are_refused(values: tuple[float, ...], side: str) -> None:
    with pytest.raises(SampleError, match=f"residual: all readings lie {side}"):
        fit(samples(tuple(zip((1.0, 2.0, 3.0, 4.0), values, strict=True))))


@pytest.mark.parametrize(
    "values",
    [
        (0.1, 0.2, 0.4, 0.8),
        (0.6, 0.3, 0.3, 0.6),
        (0.5, 0.9, 0.01, 0.6),
        (0.4, 0.6, 0.4, 0.6),
    ],
)
def test_samples_that_do_not_fall_are_an_error_of_their_own_that_names_the_field(
    values: tuple[float, ...],
) -> None:
    with pytest.raises(NotFallingError) as caught:
        fit(samples(tuple(zip((100.0, 200.0, 300.0, 400.0), values, strict=True))))
    assert caught.value.field == "residual"
    assert "do not fall" in str(caught.value)
    assert "nothing was computed" in str(caught.value)
    assert isinstance(caught.value, CalibrationError)


def test_readings_all_at_one_place_do_not_fall_either() -> None:
    with pytest.raises(NotFallingError, match="m_kg: all readings were taken at 100 kg"):
        fit(samples(((100.0, 0.9), (100.0, 0.6), (100.0, 0.3), (100.0, 0.2))))
