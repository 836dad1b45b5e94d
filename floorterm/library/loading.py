"""Read a checklists folder into a `Library`, or raise one error with every fault of every file."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import TypeVar, cast

from msgspec import Struct

from floorterm.library.documents import Document, Documents
from floorterm.library.faults import Fault, LibraryError, listed, near
from floorterm.library.model import (
    AloneFile,
    BlockFile,
    FragranceFile,
    Library,
    LineFile,
    LockoutFile,
    PlantFile,
    SequenceFile,
)
from floorterm.library.reading import MAX_BYTES, read
from floorterm.library.references import reference_faults
from floorterm.library.validation import procedure_model, validate

PLANT = "plant.yaml"
FOLDERS = ("lines", "fragrances", "procedures")
MAX_FILES = 1000
_MODELS: Mapping[str, type[Struct]] = {PLANT: PlantFile, "lines": LineFile, "fragrances": FragranceFile}
_T = TypeVar("_T", bound=Struct)


def load(folder: str | Path) -> Library:
    """Read every file of a checklists folder.

    Raises LibraryError with every fault at once: no other exception, whatever the folder and its files hold.
    """
    root = Path(folder)
    contents, faults = _contents(root)
    unread = {_kind(fault.path) for fault in faults if fault.path.endswith(".yaml")}
    read_documents: dict[str, list[Document]] = {kind: [] for kind in (PLANT, *FOLDERS)}
    for path, content in contents.items():
        kind = _kind(path)
        document, found = _document(path, kind, content)
        faults += found
        if document is None:
            unread.add(kind)
        else:
            read_documents[kind].append(document)
    documents = Documents(
        plant=next(iter(read_documents[PLANT]), None),
        lines=tuple(read_documents["lines"]),
        fragrances=tuple(read_documents["fragrances"]),
        procedures=tuple(read_documents["procedures"]),
        unread=frozenset(unread),
    )
    if contents:
        faults += reference_faults(documents)
    if faults:
        raise LibraryError(str(folder), _once(faults))
    return _library(root, contents, documents)


def digest_of(contents: Mapping[str, bytes]) -> str:
    """SHA-256 over the files sorted by name: of each the name, a zero byte, the length in 8 bytes, the bytes.

    The same files give the same digest on every machine; a renamed, added or changed file gives another.
    """
    total = hashlib.sha256()
    for path in sorted(contents):
        total.update(path.encode("utf-8") + b"\0" + len(contents[path]).to_bytes(8, "big") + contents[path])
    return total.hexdigest()


def _kind(path: str) -> str:
    return path.partition("/")[0]


def _contents(root: Path) -> tuple[dict[str, bytes], list[Fault]]:
    """The bytes of every file that belongs to the folder, by relative name, and the faults met on the way."""
    faults: list[Fault] = []
    contents: dict[str, bytes] = {}
    try:
        if not root.is_dir():
            found = "a file" if root.exists() else "nothing there"
            return {}, [Fault("", 0, 0, "", "a folder of checklists", found)]
        faults += _strangers(root)
        paths = list(_paths(root))
        base = root.resolve()
    except (OSError, ValueError) as error:
        return {}, [Fault("", 0, 0, "", "a folder that can be read", f"a folder that cannot ({_why(error)})")]
    if len(paths) > MAX_FILES:
        return {}, [Fault("", 0, 0, "", f"at most {MAX_FILES} files", str(len(paths)))]
    for path in paths:
        name = path.relative_to(root).as_posix()
        content = _bytes(base, path, name)
        if isinstance(content, Fault):
            faults.append(content)
        else:
            contents[name] = content
    present = {_kind(path.relative_to(root).as_posix()) for path in paths}
    faults += [Fault(kind, 0, 0, "", _WANTED[kind], "none") for kind in _WANTED if kind not in present]
    return contents, faults


_WANTED = {
    PLANT: "the file plant.yaml",
    "lines": "at least one line in lines/*.yaml",
    "fragrances": "at least one fragrance in fragrances/*.yaml",
    "procedures": "the procedures in procedures/*.yaml",
}


def _paths(root: Path) -> Iterator[Path]:
    if (root / PLANT).exists():
        yield root / PLANT
    for name in FOLDERS:
        if (root / name).is_dir():
            yield from sorted(path for path in (root / name).glob("*.yaml") if not path.name.startswith("."))


def _strangers(root: Path) -> Iterator[Fault]:
    """Files that somebody may believe to be in use: YAML in a place or with an ending that nobody reads."""
    for path in sorted(root.iterdir()):
        name = path.name.casefold()
        if name.startswith(".") or path.name == PLANT:
            continue
        if path.is_file() and name.endswith((".yaml", ".yml")):
            expected = f"{PLANT}, or a file in {listed(FOLDERS)}"
            yield Fault(path.name, 0, 0, "", expected, path.name, near(name, [PLANT]))
        elif path.is_dir() and path.name not in FOLDERS and near(name, FOLDERS):
            yield Fault(path.name, 0, 0, "", listed(FOLDERS), f"the folder {path.name}", near(name, FOLDERS))
    for folder in FOLDERS:
        inside = root / folder
        for path in sorted(inside.iterdir()) if inside.is_dir() else ():
            name = path.name.casefold()
            if name.startswith("."):
                continue
            if name.endswith(".yml") or (name.endswith(".yaml") and path.suffix != ".yaml"):
                yield Fault(
                    f"{folder}/{path.name}", 0, 0, "", "a name that ends in .yaml", path.name, "rename it"
                )
            elif path.is_dir() and path.suffix != ".yaml":
                hint = f"put its files into {folder}/"
                yield Fault(f"{folder}/{path.name}", 0, 0, "", "files only", "a folder", hint)


def _bytes(base: Path, path: Path, name: str) -> bytes | Fault:
    try:
        if not path.resolve().is_relative_to(base):
            return Fault(name, 0, 0, "", "a file inside the checklists folder", "a link that leads out of it")
        if not path.is_file():
            return Fault(name, 0, 0, "", "a plain file", "something else")
        with path.open("rb") as file:
            return file.read(MAX_BYTES + 1)
    except (OSError, ValueError, RuntimeError) as error:
        return Fault(name, 0, 0, "", "a file that can be read", f"one that cannot ({_why(error)})")


def _why(error: Exception) -> str:
    return (error.strerror or "").lower() if isinstance(error, OSError) and error.strerror else str(error)


def _document(path: str, kind: str, content: bytes) -> tuple[Document | None, list[Fault]]:
    node, faults = read(path, content)
    if node is None:
        return None, faults
    model = _MODELS.get(kind)
    if model is None:
        model, found = procedure_model(path, node)
        faults += found
        if model is None:
            return None, faults
    value, found = validate(path, node, model)
    return Document(path, node, value), faults + found


def _once(faults: Iterable[Fault]) -> list[Fault]:
    """In the order of files and lines, one fault for each value (the first that was found)."""
    found: dict[tuple[str, int, int, str], Fault] = {}
    for fault in faults:
        place = (fault.path, fault.line, fault.column, fault.field)
        found.setdefault(place if fault.line else (*place[:3], str(fault)), fault)
    return sorted(found.values())


def _library(root: Path, contents: Mapping[str, bytes], documents: Documents) -> Library:
    """The library of documents that have no fault, so each has its model."""
    plant, sequence = documents.plant, documents.sequence
    if plant is None or sequence is None:
        raise AssertionError("a folder without plant.yaml or changeover has a fault")
    kinds = {
        "lines": documents.lines,
        "fragrances": documents.fragrances,
        "lockouts": documents.of_kind("lockout"),
        "blocks": documents.of_kind("block"),
        "alone": documents.of_kind("alone"),
    }
    files = {f"{kind}/{found.id}": found.path for kind, group in kinds.items() for found in group}
    return Library(
        folder=str(root),
        digest=digest_of(contents),
        plant=cast(PlantFile, plant.model),
        lines=_by_id(kinds["lines"], LineFile),
        fragrances=_by_id(kinds["fragrances"], FragranceFile),
        lockouts=_by_id(kinds["lockouts"], LockoutFile),
        blocks=_by_id(kinds["blocks"], BlockFile),
        alone=_by_id(kinds["alone"], AloneFile),
        sequence=cast(SequenceFile, sequence.model),
        files={**files, "plant": PLANT, "sequence": sequence.path},
    )


def _by_id(documents: Iterable[Document], model: type[_T]) -> Mapping[str, _T]:
    found = {document.id: document.model for document in documents}
    return {name: value for name, value in found.items() if name and isinstance(value, model)}
