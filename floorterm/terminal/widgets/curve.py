"""The washout curve in cells: half blocks, or # on a plain console."""

from msgspec import Struct

from floorterm.terminal.views.flush import Points, curve_lines
from floorterm.terminal.widgets.page import Page


class CurveView(Struct, frozen=True, kw_only=True):
    """Points (kg, residual), the residual limit, where the curve crosses it, what has been pushed; kg.

    `high`: the upper edge of the band in which the true curve lies.
    """

    points: Points = ()
    limit: float = 0.0
    crossing_kg: float = 0.0
    pushed_kg: float = 0.0
    high: Points = ()


class Curve(Page):
    """A `CurveView`, drawn anew when it or the room for it changes."""

    DEFAULT_CSS = """
    Curve { height: 1fr; }
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._view = CurveView()

    def show_curve(self, view: CurveView) -> None:
        """Show a curve; an equal one repaints nothing."""
        self._view = view
        self._draw()

    def _draw(self) -> None:
        view = self._view
        language = str(getattr(self.app, "language", "en"))
        self.show(
            curve_lines(
                view.points,
                view.limit,
                view.crossing_kg,
                view.pushed_kg,
                language,
                self.size.width,
                self.size.height,
                plain=self.plain,
                high=view.high,
            )
        )

    def on_resize(self) -> None:
        """More or less room."""
        self._draw()
