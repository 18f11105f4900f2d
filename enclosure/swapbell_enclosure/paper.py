"""Sheets at exact scale: lines, circles, words and dimensions in millimetres, written as SVG, PDF or PNG."""
# matplotlib leaves its keyword arguments untyped:
# pyright: reportUnknownMemberType=false, reportUnknownVariableType=false

import math
from collections.abc import Iterable, Sequence
from pathlib import Path

from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.patches import Circle

Place = tuple[float, float]
# What A4 and Letter both hold, with the margins of common printers left free.
SHEET_MM = (196.0, 265.0)
MM_PER_INCH = 25.4
CUT, FOLD, MEASURE, SCORED = "#000000", "#b3261e", "#1f5f8b", (0, (6, 3))
# Our choice: the least that can be read at arm's length on a printed page.
TEXT_PT = 8.0
ARROW_MM = 2.0
RIGHT_ANGLE_DEG = 90.0


class Paper:
    """One sheet; the origin is its lower left corner."""

    def __init__(self, title: str, notes: Iterable[str] = (), size_mm: Place = SHEET_MM) -> None:
        width, height = size_mm
        self.size_mm = size_mm
        self._figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH))
        self._axes = self._figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self._axes.set(xlim=(0.0, width), ylim=(0.0, height))
        self._axes.set_axis_off()
        self.write((8.0, height - 9.0), title, points=12.0)
        for number, note in enumerate(notes):
            self.write((8.0, height - 15.0 - 4.2 * number), note)

    def line(self, points: Sequence[Place], colour: str = CUT, dashed: bool = False, wide_pt: float = 0.7) -> None:
        """Draw a line through points; dashed where it is folded or hidden."""
        xs, ys = zip(*points, strict=True)
        self._axes.plot(
            xs, ys, color=colour, linewidth=wide_pt, linestyle=SCORED if dashed else "-", solid_capstyle="butt"
        )

    def outline(self, points: Sequence[Place], colour: str = CUT) -> None:
        """Draw a closed line."""
        self.line([*points, points[0]], colour)

    def box(self, low: Place, high: Place, colour: str = CUT) -> None:
        """Draw a rectangle."""
        self.outline([low, (high[0], low[1]), high, (low[0], high[1])], colour)

    def circle(self, middle: Place, diameter: float, colour: str = CUT, filled: bool = False) -> None:
        """Draw a circle, with a cross in its middle unless it is filled."""
        self._axes.add_patch(Circle(middle, diameter / 2, fill=filled, color=colour, linewidth=0.7))
        if not filled:
            (x, y), arm = middle, min(diameter / 2, 2.0)
            self.line([(x - arm, y), (x + arm, y)], colour, wide_pt=0.3)
            self.line([(x, y - arm), (x, y + arm)], colour, wide_pt=0.3)

    def write(self, at: Place, text: str, points: float = TEXT_PT, turned: float = 0.0, middle: bool = False) -> None:
        """Write words, from `at` on or about it."""
        side = "center" if middle else "left"
        self._axes.text(
            *at,
            text,
            fontsize=points,
            rotation=turned,
            rotation_mode="anchor",
            ha=side,
            va="center" if middle else "baseline",
        )

    def measure(self, start: Place, end: Place, offset: float, scale: float = 1.0) -> None:
        """Draw a dimension between two points, so far to the left of the way from one to the other.

        On a drawing that is not 1:1 the length that is written is the drawn one divided by the scale.
        """
        (x0, y0), (x1, y1) = start, end
        length = math.dist(start, end)
        nx, ny = -(y1 - y0) / length * offset, (x1 - x0) / length * offset
        a, b = (x0 + nx, y0 + ny), (x1 + nx, y1 + ny)
        for point, foot in ((a, start), (b, end)):
            self.line([foot, point], MEASURE, wide_pt=0.3)
        self._axes.annotate(
            "", a, b, arrowprops={"arrowstyle": "<->", "color": MEASURE, "linewidth": 0.5, "shrinkA": 0, "shrinkB": 0}
        )
        angle = math.degrees(math.atan2(y1 - y0, x1 - x0))
        upright = abs(angle) <= RIGHT_ANGLE_DEG
        lift = ARROW_MM if upright else -ARROW_MM
        at = ((a[0] + b[0]) / 2 - (y1 - y0) / length * lift, (a[1] + b[1]) / 2 + (x1 - x0) / length * lift)
        self.write(at, f"{length / scale:.1f}", turned=angle if upright else angle + 180.0, middle=True)

    def ruler(self) -> None:
        """Draw a line of exactly 100 mm: whoever prints the sheet measures it first."""
        self.line([(8.0, 8.0), (108.0, 8.0)])
        for tick in range(11):
            self.line([(8.0 + 10.0 * tick, 8.0), (8.0 + 10.0 * tick, 10.5)])
        self.write((112.0, 7.5), "must be 100 mm: print at 100 %, not fitted to the page")

    def save(self, path: Path) -> None:
        """Write the sheet; its kind is told by the name's end, and the same sheet gives the same bytes."""
        scratch = path.with_name(f".{path.name}")
        plain = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}.get(path.suffix[1:])
        with rc_context({"svg.hashsalt": "swapbell", "svg.fonttype": "none", "pdf.fonttype": 42}):
            self._figure.savefig(scratch, format=path.suffix[1:], dpi=200, metadata=plain)
        scratch.replace(path)
