"""A small invented plant without a fault, and ways to break it one word at a time."""

from collections.abc import Mapping
from datetime import time
from pathlib import Path
from textwrap import dedent
from typing import TypeVar

import pytest
from msgspec import Struct
from msgspec.structs import asdict

from floorterm.library import Fault, LibraryError, load
from floorterm.library.reading import Loc, Member, Node, Place
from floorterm.library.validation import validate

M = TypeVar("M", bound=Struct)

PLANT = """\
format: 1
id: tinymere
name: Tinymere soap works
time_zone: America/Denver
emergency_number: site 4444
emergency_note: {en: Call site 4444., es: Llame al 4444.}
duties:
  - id: operator
    name: {en: line operator, es: operador}
  - id: supervisor
    name: {en: supervisor, es: supervisor}
shifts:
  - id: early
    name: {en: early shift, es: turno de mañana}
    start: 06:00
    hours: 8
first_aid:
  - id: lye-skin
    title: {en: Lye on the skin, es: Lejía en la piel}
    lines:
      - {en: Water at once., es: Agua de inmediato.}
    source: common practice, no source
"""

LINE = """\
format: 1
id: L1
name: {en: Line 1, es: Línea 1}
rate_kg_h: 1700
rate_evidence: estimated
units:
  - name: mixer
    title: {en: Mixer, es: Mezcladora}
    mixed_kg: 28
    evidence: estimated
  - name: plodder
    title: {en: Plodder, es: Extrusora}
    mixed_kg: 30.5
    tanks: 3
    evidence: guessed
flash_fraction: 0.2
flash_to: mixer
return_kg: 10
dose_at: mixer
slug_g: 120
strokes_min: 60
cavities: 4
points:
  - id: E1
    name: {en: Main disconnect, es: Seccionador}
    machine: line 1
    place: {en: panel, es: tablero}
    energies: [electrical]
    magnitude: 480 V
    device: disconnect
    needs_release: false
    verify:
      method: {en: Press start., es: Pulse arranque.}
      expect: {en: Nothing moves., es: Nada se mueve.}
tanks:
  - id: T1
    name: {en: Shared tank, es: Tanque compartido}
    heel_kg: 2
    fill_kg: 100
  - id: T2
    name: {en: Clove tank, es: Tanque de clavo}
    only: clove
    fill_kg: 100
affected_duties: [operator]
"""

PLAIN = """\
format: 1
id: plain
name: {en: Plain, es: Natural}
code: TM-PLN
lines: [L1]
colour:
  word: {en: white, es: blanco}
  lab: [92, -1.5, 6]
bar_format: rect
claims: [unscented]
tags: [light]
source: invented
"""

CLOVE = """\
format: 1
id: clove
name: {en: Clove leaf, es: Hoja de clavo}
code: TM-CLV
lines: [L1]
dose: 0.01
oils:
  - {oil: clove leaf, share: 0.6}
  - {oil: patchouli, share: 0.4}
colour:
  word: {en: brown, es: marrón}
  lab: [37, 15, 22]
bar_format: rect
label:
  - Eugenol
tanks: {L1: T2}
tags: [dark]
source: invented
leave:
  - id: mark-bins
    kind: confirm
    text: {en: Mark the bins., es: Marque los recipientes.}
    duty: operator
    standard_min: 1
"""

CHANGEOVER = """\
format: 1
kind: changeover
id: changeover
title: {en: Changeover, es: Cambio}
blocks: [run-out, leave_steps, cleaning, enter_steps, start]
"""

RUN_OUT = """\
format: 1
kind: block
id: run-out
title: {en: Run-out, es: Vaciado}
sections:
  - id: out
    title: {en: Run-out, es: Vaciado}
    steps:
      - id: stop-dose
        kind: confirm
        text: {en: Stop the dose of {outgoing}., es: Pare la dosis de {outgoing}.}
        duty: operator
        standard_min: 1
      - id: last-bar
        kind: text
        text: {en: Note the last good bar., es: Anote el último jabón bueno.}
        duty: operator
        witness: supervisor
        mark: last_good_outgoing
        standard_min: 1
""".replace("{en: Stop the dose of {outgoing}., es: Pare la dosis de {outgoing}.}",
            '{en: "Stop the dose of {outgoing}.", es: "Pare la dosis de {outgoing}."}')  # fmt: skip

CLEANING = """\
format: 1
kind: block
id: cleaning
title: {en: Cleaning, es: Limpieza}
sections:
  - id: clean
    title: {en: Cleaning, es: Limpieza}
    lockout: lock-1
    when: {strip_down: true, line: L1}
    steps:
      - id: pull-screen
        kind: choice
        text: {en: Pull the mesh screen., es: Saque la malla.}
        duty: operator
        choices:
          - id: whole
            text: {en: whole, es: entera}
          - id: torn
            text: {en: torn, es: rota}
            deviation: true
        standard_min: 3
      - id: nose-temp
        kind: reading
        text: {en: Measure the nose., es: Mida el cono.}
        duty: operator
        unit: °C
        low: 20
        high: 45
        standard_min: 1
"""

START = """\
format: 1
kind: block
id: start
title: {en: Start, es: Arranque}
sections:
  - id: start
    title: {en: Start, es: Arranque}
    steps:
      - id: scan-oil
        kind: scan
        text: {en: Scan the oil., es: Escanee el aceite.}
        duty: operator
        expect: "{incoming}"
        standard_min: 1
        applies_to: [dark]
      - id: heat
        kind: wait
        text: {en: Heat the nose., es: Caliente el cono.}
        duty: operator
        dwell_min: 5
        since: out/stop-dose
        standard_min: 5
      - id: flush
        kind: flush
        text: {en: "Flush {flush_kg} kg.", es: "Lave {flush_kg} kg."}
        duty: operator
        after: [heat, clean]
        standard_min: 14
  - id: first
    title: {en: First-article check, es: Control de la primera pieza}
    first_article: true
    after: [start]
    steps:
      - id: look
        kind: confirm
        text: {en: Look at ten bars., es: Mire diez jabones.}
        duty: operator
        reopens: [start/flush]
        standard_min: 2
"""

LOCKOUT = """\
format: 1
kind: lockout
id: lock-1
title: {en: Lockout of line 1, es: Bloqueo de la línea 1}
lines: [L1]
machine: {en: line 1, es: línea 1}
revision: 1
effective_on: 2026-01-05
changed_on: 2026-01-05
points: [E1]
shut_down: {en: Stop the line., es: Pare la línea.}
restart: {en: Start the line., es: Arranque la línea.}
content:
  scope: {en: line 1, es: línea 1}
  purpose: {en: cleaning, es: limpieza}
  authorisation: {en: authorised employees only, es: solo empleados autorizados}
  rules_and_techniques: {en: own lock on every point, es: candado propio en cada punto}
  enforcement: {en: site rules, es: reglas de la planta}
  intended_use: {en: screen change, es: cambio de mallas}
  steps_shut_down_isolate: {en: as listed, es: según la lista}
  steps_devices_and_responsible: {en: as listed, es: según la lista}
  how_tested: {en: start control tried, es: se prueba el arranque}
"""

EYEWASH = """\
format: 1
kind: alone
id: eyewash
title: {en: Eyewash check, es: Control del lavaojos}
lines: [L1]
release_duties: [supervisor]
sections:
  - id: check
    title: {en: Check, es: Control}
    steps:
      - id: open
        kind: confirm
        text: {en: Open the valve., es: Abra la válvula.}
        duty: operator
        standard_min: 1
"""

FILES = {
    "plant.yaml": PLANT,
    "lines/one.yaml": LINE,
    "fragrances/plain.yaml": PLAIN,
    "fragrances/clove.yaml": CLOVE,
    "procedures/changeover.yaml": CHANGEOVER,
    "procedures/run-out.yaml": RUN_OUT,
    "procedures/cleaning.yaml": CLEANING,
    "procedures/start.yaml": START,
    "procedures/lock-1.yaml": LOCKOUT,
    "procedures/eyewash.yaml": EYEWASH,
}


def plant(folder: Path, changes: dict[str, str | bytes | None] | None = None) -> Path:
    """Write the small plant, with some files replaced (None: left out)."""
    for name, text in {**FILES, **(changes or {})}.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(text, bytes):
            path.write_bytes(text)
        elif text is not None:
            path.write_text(text, encoding="utf-8")
    return folder


def faults_of(folder: Path) -> tuple[Fault, ...]:
    """The faults of a folder that must have some."""
    with pytest.raises(LibraryError) as caught:
        load(folder)
    assert caught.value.faults
    return caught.value.faults


def broken(folder: Path, name: str, old: str, new: str) -> tuple[Fault, ...]:
    """The faults of the small plant with one passage of one file replaced."""
    text = FILES[name]
    assert text.count(old) >= 1, f"{old!r} is not in {name}"
    return faults_of(plant(folder, {name: text.replace(old, new, 1)}))


def only(folder: Path, name: str, old: str, new: str) -> Fault:
    """The one fault of the small plant with one passage replaced."""
    faults = broken(folder, name, old, new)
    assert len(faults) == 1, "\n".join(str(fault) for fault in faults)
    assert faults[0].path == name
    return faults[0]


def place(text: str, needle: str) -> tuple[int, int]:
    """Line and column, from 1, at which a passage first stands in a text."""
    before, found, _ = text.partition(needle)
    assert found, f"{needle!r} is not in the text"
    return before.count("\n") + 1, len(before.rpartition("\n")[2]) + 1


def lines(text: str) -> str:
    """A text of the test without its indentation."""
    return dedent(text)


def plain(node: Node) -> object:
    """A file's tree as dicts, lists, texts, numbers and truth values."""
    if isinstance(node.value, dict):
        return {key: plain(member.node) for key, member in node.value.items()}
    return [plain(item) for item in node.value] if isinstance(node.value, tuple) else node.value


def made(model: type[M], data: Mapping[str, object]) -> M:
    """A value of the library as a file with that content would give it. Structs may stand within."""
    value, faults = validate("test.yaml", _node((), data), model)
    if value is None:
        raise LibraryError("test", faults)
    return value


def _node(loc: Loc, value: object) -> Node:
    here = Place(1, 1)
    if isinstance(value, Struct):
        value = asdict(value)
    if isinstance(value, Mapping):
        members = {
            str(name): Member(here, _node((*loc, str(name)), inner))
            for name, inner in value.items()
            if inner is not None
        }
        return Node(here, loc, members)
    if isinstance(value, list | tuple):
        return Node(here, loc, tuple(_node((*loc, place), inner) for place, inner in enumerate(value)))
    if isinstance(value, bool | int):
        return Node(here, loc, value)
    return Node(here, loc, f"{value:%H:%M}" if isinstance(value, time) else str(value))
