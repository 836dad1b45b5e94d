"""The record on screen: whatever a lockout entry holds is said in words, in every language."""

import pytest

from floorterm.changeover.acts import LockoutAct
from floorterm.changeover.worksheet import to_json
from floorterm.entries import Entry
from floorterm.lockout.model import Event
from floorterm.terminal.views.record import value_words
from floorterm.wording import LANGUAGES
from tests.conftest import START


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_lockout_event_has_its_words(language: str) -> None:
    said = set()
    for event in Event:
        act = LockoutAct(job="screen", event=event, points=("D1",), owner="AA")
        entry = Entry(n=1, hash="", prev="", at=START, offset="-07:00", kind=act.KIND, value=to_json(act))
        text = value_words(entry, None, language)
        assert text.endswith(", D1, AA")
        said.add(text)
    assert len(said) == len(Event) - 1, "both notices share their words"
