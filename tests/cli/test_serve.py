"""`floorterm serve` before it serves: what it asks for beyond this machine, and what it says when a part is missing."""

import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from floorterm.demo import shipped


def _serve(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["serve", str(shipped()), *arguments])


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "10.0.0.7", "floor1"])
def test_beyond_this_machine_it_asks_for_tls(host: str) -> None:
    done = _serve("--host", host)
    assert done.exit_code == 2
    assert "unencrypted" in done.output
    assert "--without-tls" in done.output


def test_a_certificate_and_its_key_belong_together_and_are_told_apart_from_rubbish(tmp_path: Path) -> None:
    rubbish = tmp_path / "rubbish.pem"
    rubbish.write_text("no certificate")
    for arguments, told in (
        (("--certificate", str(rubbish)), "belong together"),
        (("--certificate", str(rubbish), "--key", str(rubbish)), "cannot be used"),
        (("--public-url", "floor.example"), "https://floor.example"),
        (("--public-url", "https://["), "https://floor.example"),
    ):
        done = _serve("--host", "0.0.0.0", *arguments)
        assert (done.exit_code, told in done.output) == (2, True), done.output


def test_without_the_extra_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name.startswith("floorterm.web")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "aiohttp", None)
    done = _serve()
    assert done.exit_code == 2
    assert "pip install 'floorterm[web]'" in done.output
