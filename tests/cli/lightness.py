"""Commands run in a process of their own, and what they must not have loaded by then."""

import subprocess
import sys
from collections.abc import Iterable, Sequence

_CODE = """
import sys
from floorterm.cli import main
heavy, *commands = [line.split("\\t") for line in sys.argv[1:]]
for command in commands:
    try:
        main(command)
    except SystemExit as left:
        assert not left.code, command
sys.exit(", ".join(sorted(set(heavy) & sys.modules.keys())) or 0)
"""


def run_without(heavy: Iterable[str], *commands: Sequence[str]) -> str:
    """What commands print that all end well and load none of these modules."""
    words = ["\t".join(heavy), *("\t".join(command) for command in commands)]
    done = subprocess.run([sys.executable, "-c", _CODE, *words], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout
