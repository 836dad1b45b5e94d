"""JSON Schemas of the files, for editors that complete and check YAML while it is typed."""

import json
from pathlib import Path

from pydantic import TypeAdapter

from floorterm.library.model import FragranceFile, LineFile, PlantFile, ProcedureFile


def schema(folder: str | Path) -> tuple[Path, ...]:
    """Write `plant`, `line`, `fragrance` and `procedure` schemas into a folder, which is made if need be.

    A YAML file names its schema in the first line: `# yaml-language-server: $schema=../schema/line.json`.
    Raises OSError where the folder cannot be written.
    """
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    adapters: dict[str, TypeAdapter[object]] = {
        "plant": TypeAdapter(PlantFile),
        "line": TypeAdapter(LineFile),
        "fragrance": TypeAdapter(FragranceFile),
        "procedure": TypeAdapter(ProcedureFile),
    }
    written = []
    for name, adapter in adapters.items():
        path = target / f"{name}.json"
        text = json.dumps(adapter.json_schema(), indent=2, sort_keys=True, ensure_ascii=False)
        path.write_text(text + "\n", encoding="utf-8")
        written.append(path)
    return tuple(written)
