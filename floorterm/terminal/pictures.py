"""Pictures of the screens, written by the program itself: every screen of the demo plant at a size and language."""

from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from floorterm.terminal.app import FloorApp

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from floorterm.plant import Plant

_STILL = 6  # equal pictures in a row, 50 ms apart, count as settled
SIZES: tuple[tuple[int, int], ...] = ((80, 24), (120, 40))
# screen -> the keys that lead to it from Lines
SCREENS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "lines": (),
        "start": ("2", "f6"),
        "day": ("2", "f6", "f7", "enter", "down", "down", "enter", "down", "enter", "end", "f5"),
        "work": ("enter",),
        "list": ("enter", "f4"),
        "locks": ("f2",),
        "flush": ("f3",),
        "ways": ("f3", "f4"),
        "reasons": ("f3", "f7"),
        "shift": ("f8",),
        "entries": ("f8", "f4"),
        "review": ("f8", "left", "f6"),
        "minutes": ("f8", "left", "f6", "down", "down", "down", "f4"),
        "seal": ("f8", "left", "f6", "f8"),
        "lots": ("enter", "f8"),
        "checklists": ("f4",),
        "audit": ("f5",),
        "inspections": ("f5", "f6"),
        "training": ("f5", "f6", "f8"),
        "first-aid": ("f1",),
        "sign-in": ("f10",),
        "keys": ("question_mark",),
    }
)


async def picture(
    opener: "Callable[[], Plant]",
    keys: tuple[str, ...],
    size: tuple[int, int],
    *,
    language: str = "en",
    plain: bool = False,
) -> str:
    """One screen as SVG: the demo plant opened afresh, the keys pressed, everything settled."""
    app = FloorApp(opener, language=language, plain=plain, demo=True, scan_gap_s=0)
    async with app.run_test(size=size) as pilot:
        while not app.desk.is_open:
            await pilot.pause(0.02)
        await _settled(pilot)
        for key in keys:
            await pilot.press(key)
            await _settled(pilot)
        return app.export_screenshot(title="floorterm")


async def _settled(pilot: "Pilot[int]") -> None:
    """Wait until the picture stays what it is: some screens compute beside the drawing, a dialogue waits for ever."""
    before, same = "", 0
    while same < _STILL:
        await pilot.pause(0.05)
        now = pilot.app.export_screenshot()
        before, same = now, (same + 1 if now == before else 0)


async def write_all(opener: "Callable[[], Plant]", folder: Path, language: str = "en") -> list[Path]:
    """Write every screen at every size into a folder; the paths written."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    suffix = "" if language == "en" else f"-{language}"
    for name, keys in SCREENS.items():
        for columns, rows in SIZES:
            path = folder / f"{name}-{columns}x{rows}{suffix}.svg"
            path.write_text(await picture(opener, keys, (columns, rows), language=language), encoding="utf-8")
            written.append(path)
    return written
