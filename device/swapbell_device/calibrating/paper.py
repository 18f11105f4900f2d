"""The cards on paper: a PDF at exact scale, with a ruler that shows whether the printer kept it."""
# reportlab leaves the points of its paths untyped:
# pyright: reportUnknownMemberType=false

from enum import Enum
from itertools import groupby
from pathlib import Path

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from swapbell_device.calibrating.card import CELLS, MARKER_SHARE, Card, card
from swapbell_device.count import whole
from swapbell_models.fault import Mistake

MARGIN_MM = 15.0
RULER_MM = 100
# A printed cell comes to whole pixels of this raster, so that black is drawn as exact rectangles: a marker's share of
# a square, in cells, is 3/4 of 6 cells over 48 pixels.
PX_PER_SQUARE = round(8 * CELLS / MARKER_SHARE * 0.75)
WORDS = (
    "Print at 100 %, without 'fit to page', on matt paper. Measure the ruler: if it is not 100 mm long, tell",
    "calibrate its length with --ruler. Cut one card out, glue it flat on a board and lay it where insects walk: its",
    "two triangles on the gate line, its arrow into the station; while no insects are about, before bait is out.",
)


class Paper(Enum):
    """A size of paper."""

    A4 = "a4"
    LETTER = "letter"


def paper_of(word: str) -> Paper:
    """Return the size of that name, or refuse it."""
    if word.lower() not in {each.value for each in Paper}:
        raise Mistake(f"--paper: choose from {', '.join(each.value for each in Paper)}, not {word[:40]!r}")
    return Paper(word.lower())


SIZES = {Paper.A4: A4, Paper.LETTER: LETTER}


def write_cards(path: Path, paper: Paper) -> None:
    """Write the cards as a PDF.

    Raises
    ------
    Mistake, Breakdown
        If it has no place or cannot be written.
    """
    with whole(path) as part:
        canvas = Canvas(str(part), pagesize=SIZES[paper], invariant=1)
        canvas.setTitle("swapbell calibration cards")
        _page(canvas, SIZES[paper][1])
        canvas.save()


def _page(canvas: Canvas, top: float) -> None:
    left, y = MARGIN_MM * mm, top - MARGIN_MM * mm
    canvas.setFont("Helvetica", 8)
    for line in WORDS:
        canvas.drawString(left, y, line)
        y -= 4 * mm
    y = _ruler(canvas, left, y - 2 * mm) - 11 * mm
    y = _card(canvas, card("wide"), left, y) - 16 * mm
    _card(canvas, card("opening"), left, y)
    _card(canvas, card("lane"), left + 115 * mm, y)
    canvas.showPage()


def _ruler(canvas: Canvas, left: float, y: float) -> float:
    """Draw a ruler of exact length and return what is left below it."""
    canvas.setLineWidth(0.3)
    canvas.line(left, y - 4 * mm, left + RULER_MM * mm, y - 4 * mm)
    for step in range(RULER_MM + 1):
        tick = 4.0 if step % 10 == 0 else 2.0
        canvas.line(left + step * mm, y - 4 * mm, left + step * mm, y - (4.0 - tick) * mm)
    canvas.drawString(left + (RULER_MM + 3) * mm, y - 4 * mm, f"{RULER_MM} mm")
    return y - 6 * mm


def _card(canvas: Canvas, drawn: Card, left: float, top: float) -> float:
    """Draw a card with its name, gate marks and arrow, and return what is left below it."""
    length, across = (side * mm for side in drawn.size_mm)
    for x, y, width, height in black(drawn):
        canvas.rect(left + x * mm, top - (y + height) * mm, width * mm, height * mm, stroke=0, fill=1)
    middle = left + length / 2.0
    _triangle(canvas, middle, top + 1.2 * mm, 1.0)
    _triangle(canvas, middle, top - across - 1.2 * mm, -1.0)
    canvas.drawString(left, top + 2 * mm, f"card: {drawn.name}")
    _arrow(canvas, left + length, top + 3 * mm)
    return top - across


def black(drawn: Card) -> list[tuple[float, float, float, float]]:
    """Return the black of a card as rectangles, x, y, width and height [mm], y downwards."""
    raster = PX_PER_SQUARE / drawn.square_mm
    rows = (drawn.picture(raster) < 128).tolist()  # noqa: PLR2004  (halfway between black and white)
    found: list[tuple[float, float, float, float]] = []
    y = 0
    for row, same in groupby(rows):
        height = len(list(same))
        found += [(x / raster, y / raster, width / raster, height / raster) for x, width in _runs(row)]
        y += height
    return found


def _runs(row: list[bool]) -> list[tuple[int, int]]:
    """Return where each run of black begins in a row, and how long it is."""
    found: list[tuple[int, int]] = []
    x = 0
    for black, same in groupby(row):
        width = len(list(same))
        if black:
            found.append((x, width))
        x += width
    return found


def _triangle(canvas: Canvas, x: float, y: float, up: float) -> None:
    path = canvas.beginPath()
    path.moveTo(x, y)
    path.lineTo(x - 1.5 * mm, y + up * 3.0 * mm)
    path.lineTo(x + 1.5 * mm, y + up * 3.0 * mm)
    path.close()
    canvas.drawPath(path, stroke=0, fill=1)


def _arrow(canvas: Canvas, tip: float, y: float) -> None:
    canvas.drawRightString(tip - 10 * mm, y - 1 * mm, "inside")
    canvas.setLineWidth(0.8)
    canvas.line(tip - 9 * mm, y, tip, y)
    for side in (-1.5, 1.5):
        canvas.line(tip, y, tip - 2.5 * mm, y + side * mm)
