"""Every reader of what comes from outside, steered by coverage: each new input goes where no other one went.

    pip install -e .[fuzz]
    python -m tests.benchmarks.fuzz [SECONDS]        default 20 s a reader, each in a process of its own

Prints for each reader how many inputs were tried and how many branches they reached; ends with status 1 if one
raised anything but its named errors, took more than 10 s or 1 GB. The input is kept beside, to be tried again.
"""

import re
import subprocess
import sys
import tempfile
from pathlib import Path

_SEEDED, _SIZE, _SLOWEST_S, _MEMORY_MB = 0x50A9, 4096, 10, 1024


def _one(name: str, folder: Path, seconds: int) -> None:
    """Fuzz one reader in this process; never returns."""
    import atheris

    with atheris.instrument_imports(include=["floorterm", "yaml", "json", "csv", "zipfile"]):
        from tests.readers import seeds, try_reader

    given = seeds()[name]
    for at, seed in enumerate(given):
        (folder / f"seed-{at}").write_bytes(seed)
    options = [
        f"-max_total_time={seconds}",
        f"-max_len={max(_SIZE, *map(len, given))}",
        f"-timeout={_SLOWEST_S}",
        f"-seed={_SEEDED}",
    ]
    options += [f"-rss_limit_mb={_MEMORY_MB}", f"-artifact_prefix={folder}/found-", "-print_final_stats=1"]
    atheris.Setup([sys.argv[0], *options, str(folder)], lambda content: try_reader(name, content))
    atheris.Fuzz()


def _told(name: str, seconds: int) -> bool:
    """Fuzz one reader in another process and say what came of it; whether nothing was found."""
    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    command = [sys.executable, "-m", "tests.benchmarks.fuzz", str(seconds), name, str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    said = done.stdout + done.stderr
    tried = re.findall(r"number_of_executed_units: (\d+)", said)
    reached = re.findall(r"cov: (\d+)", said)
    counts = f"{tried[-1] if tried else '?':>9} inputs  {reached[-1] if reached else '?':>6} branches"
    print(f"{name:36} {counts}", flush=True)  # noqa: T201  a script that prints
    if done.returncode == 0 and tried:
        return True
    print(said[-4000:], *sorted(folder.glob("found-*")), sep="\n", flush=True)  # noqa: T201
    return False


def main() -> int:
    """Fuzz each reader in turn."""
    from tests.readers import READERS

    seconds = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    found = [name for name in READERS if not _told(name, seconds)]
    return 1 if found else 0


if __name__ == "__main__":
    if len(sys.argv) == 4:
        _one(sys.argv[2], Path(sys.argv[3]), int(sys.argv[1]))
    sys.exit(main())
