"""Lye figures as people read them: what nobody has confirmed is marked until somebody does."""

from floorterm.lye import dilute, estimate, judge, protection
from floorterm.review.lye_text import dilution_text


def _text(confirmed: dict[str, str]) -> tuple[str, ...]:
    made = dilute(50.0, 20.0, total_kg=100.0)
    heat = estimate(made)
    asked = protection("L3", mass_pct=50.0, temperature_c=20.0, pressurised=False)
    return dilution_text(made, heat, judge(made, heat), asked, (), "US", "en", confirmed=confirmed)


def _marked(text: tuple[str, ...]) -> set[str]:
    sources = text[text.index("Sources; ? = not confirmed by a person against the source:") :]
    return {line[2:].split(" ", 1)[0] for line in sources if line.startswith("? ")}


def test_a_table_that_a_person_confirmed_loses_its_mark_and_names_them() -> None:
    before = _marked(_text({}))
    table = sorted(before)[0]
    text = _text({table: "A. Vale, 2026-11-01"})
    assert _marked(text) == before - {table}
    assert "confirmed by A. Vale, 2026-11-01" in " ".join(" ".join(text).split())


def test_a_narrow_table_wraps_names_and_cuts_nothing() -> None:
    made = dilute(100.0, 20.0, total_kg=100.0)
    heat = estimate(made)
    asked = protection("L4", mass_pct=100.0, temperature_c=20.0, pressurised=False)
    wide = dilution_text(made, heat, judge(made, heat), asked, (), "US", "es")
    narrow = dilution_text(made, heat, judge(made, heat), asked, (), "US", "es", width=60)
    words_of = [word for line in wide for word in line.split() if not word.startswith("--")]
    assert sorted(words_of) == sorted(
        word for line in narrow for word in line.split() if not word.startswith("--")
    )
