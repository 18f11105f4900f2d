"""Sheets at 1:1 to print on paper: the cut-outs for the three stations, and the lane for those without a printer."""

import math
from pathlib import Path

from swapbell_enclosure.layout import GRIP_MM, Layout
from swapbell_enclosure.marks import marks
from swapbell_enclosure.paper import FOLD, SHEET_MM, Paper, Place

BLADES = "Blades: cut on a board, away from your hand; smooth every edge that an insect walks over."
POISON = "Once toxic bait has been in it: label it POISON, and never use it, or the tools, for food again."
# Our choice: tabs wide enough for a row of screws or a strip of tape.
TAB_MM = 12.0
SCREW_MM = 3.4
# Where things lie on their sheets.
FLOOR_MM, TINS_FOOT_MM, LEFT_MM, MIDDLE_MM, WINDOW_FOOT_MM = 120.0, 40.0, 20.0, 150.0, 40.0
# How much of a tin is drawn.
TIN_MM = 55.0
# A lid's lip, from memory; and a notch that a 3 mm wire lies in with its bend.
LIP_MM, NOTCH_MM = 12.0, 5.0
# Our choice: the camera's board stands on washers or nuts so high.
SPACER_MM = 2.0


def write(layout: Layout, folder: Path) -> None:
    """Write all sheets as SVG and PDF."""
    station = layout.parameters.station
    sheets = {
        "drawings/station-pot": _wall_cut_out(layout, "A lidded pot", station.pot_mm, POT_NOTES),
        "drawings/station-tub": _tub(layout),
        "drawings/station-tins": _tins(layout),
        "without-a-printer/lane": _folded_lane(layout),
        "without-a-printer/hood": _tin_hood(layout),
    }
    for name, sheet in sheets.items():
        sheet.ruler()
        for kind in ("svg", "pdf"):
            sheet.save(folder / f"{name}.{kind}")


TINS_NOTES = (
    "The lower tin is open and holds the bait; the upper one is the roof, its base up. The collar joins them;",
    "the lane is the only way in. Two wires run from the collar's lugs to a hook; the bait tin leaves downwards.",
)
LANE_NOTES = (
    "Cut from the wall of a tub, matte side in; score and fold the dashed lines: walls up, tabs outwards.",
    "Paint the floor matte and light, the six dots black. Bolt the end tabs to the station around its hole.",
    "The window is clear plastic from a lid, held by the side tabs with two clips.",
)
POT_NOTES = (
    "Wrap it round the outside, its foot level with the pot's. Cut out the way in, drill the four holes.",
    "The bait stays below the way in. The lid keeps rain out: punch no hole into it.",
)
TUB_NOTES = (
    "Put its upper edge right under the lid's lip. Cut out the way in, drill the four holes.",
    "Hanger: two notches in the rim, opposite each other, 5 mm wide and 5 mm deep, for a wire under the lid.",
)


def _wall_cut_out(layout: Layout, title: str, diameter: float | None, notes: tuple[str, ...]) -> Paper:
    wall = "flat" if diameter is None else f"{diameter:g} mm across"
    sheet = Paper(f"{title} ({wall}), 1:1", [*notes, BLADES, POISON])
    middle, floor = SHEET_MM[0] / 2, FLOOR_MM
    half = _around(layout.half_lane, diameter)
    low, high = (middle - half, floor), (middle + half, floor + layout.lane_height)
    sheet.box(low, high)
    edge = _around(layout.ear_y, diameter)
    sheet.outline(
        [
            (middle + sx * edge, floor + z)
            for sx, z in ((-1, layout.bottom), (1, layout.bottom), (1, layout.ear_top), (-1, layout.ear_top))
        ],
        FOLD,
    )
    sheet.write((middle - edge, floor + layout.ear_top + 1.5), "the adapter covers this")
    for y, z in layout.ear_holes:
        sheet.circle((middle + math.copysign(_around(abs(y), diameter), y), floor + z), SCREW_MM)
    sheet.measure(low, (high[0], low[1]), -13.0)
    sheet.measure(low, (low[0], high[1]), edge)
    left, right = (_hole(layout, middle, floor, each, diameter) for each in (0, 2))
    sheet.measure(left, right, -30.0)
    below, above = (_hole(layout, middle, floor, each, diameter) for each in (2, 3))
    sheet.measure(below, above, -edge)
    sheet.write((middle, floor + layout.lane_height / 2), "cut out", middle=True)
    return sheet


def _tub(layout: Layout) -> Paper:
    """Return the tub's cut-out, with its rim right above the adapter and a notch for the hanger in it."""
    sheet = _wall_cut_out(layout, "A food tub, under the lid's lip", layout.parameters.station.tub_mm, TUB_NOTES)
    rim, left, right = FLOOR_MM + layout.ear_top + LIP_MM, 20.0, SHEET_MM[0] - 20.0
    notch = [(right - 30.0, rim), (right - 30.0, rim - NOTCH_MM), (right - 25.0, rim - NOTCH_MM), (right - 25.0, rim)]
    sheet.line([(left, rim), *notch, (right, rim)])
    sheet.write((left, rim + 2.0), "the tub's rim; the lid's lip reaches down to the adapter")
    sheet.write((right - 45.0, rim + 2.0), "notch for the hanger")
    return sheet


def _hole(layout: Layout, middle: float, floor: float, number: int, diameter: float | None) -> Place:
    y, z = layout.ear_holes[number]
    return middle + math.copysign(_around(abs(y), diameter), y), floor + z


def _around(across: float, diameter: float | None) -> float:
    """Return how far along a round wall lies what is so far across [mm]."""
    return across if diameter is None else diameter / 2 * math.asin(2 * across / diameter)


def _tins(layout: Layout) -> Paper:
    """Return the two tins with the collar between them, seen from the lane."""
    tins, gap = layout.parameters.station.tins_mm, layout.ear_top - layout.bottom
    sheet = Paper(f"A pair of tins, {tins:g} mm across, 1:1", [*TINS_NOTES, BLADES, POISON])
    left = (SHEET_MM[0] - tins) / 2
    right, rim, roof = left + tins, TINS_FOOT_MM + TIN_MM, TINS_FOOT_MM + TIN_MM + gap
    for foot in (TINS_FOOT_MM, roof):
        sheet.box((left, foot), (right, foot + TIN_MM))
    sheet.box((left - 3.0, rim - GRIP_MM), (right + 3.0, roof + GRIP_MM), FOLD)
    middle, way = (left + right) / 2, rim - layout.bottom
    sheet.box((middle - layout.half_lane, way), (middle + layout.half_lane, way + layout.lane_height))
    sheet.measure((left, rim), (left, roof), 12.0)
    sheet.measure((left, TINS_FOOT_MM), (right, TINS_FOOT_MM), -10.0)
    for text, height in (
        ("bait tin, as high as you have it", -28.0),
        ("collar", gap - 6.0),
        ("roof tin", gap + 28.0),
    ):
        sheet.write((left + 4.0, rim + height), text)
    for side in (left - 6.0, right + 6.0):
        sheet.line([(side, rim - GRIP_MM), (side, roof + TIN_MM + 12.0)], dashed=True)
    return sheet


def _folded_lane(layout: Layout) -> Paper:
    """Return the lane as one folded piece: floor, walls, tabs, and its window beside it."""
    length, half, high = 2 * layout.half_length, layout.half_lane, layout.lane_height
    left, right, middle = LEFT_MM, LEFT_MM + length, MIDDLE_MM
    wide = max(SHEET_MM[0], right + TAB_MM + LEFT_MM)
    sheet = Paper("Lane without a printer, 1:1", [*LANE_NOTES, BLADES, POISON], (wide, SHEET_MM[1]))
    outer = half + high + TAB_MM
    sheet.box((left, middle - outer), (right, middle + outer))
    for row in (half, half + high):
        for y in (middle - row, middle + row):
            sheet.line([(left, y), (right, y)], FOLD, dashed=True)
    for side in (-1.0, 1.0):
        _end_tab(sheet, right, middle + side * half, middle + side * (half + high))
    for x, y, diameter in marks(layout):
        sheet.circle((left + layout.half_length + x, middle + y), diameter, filled=True)
    sheet.write((left + 2.0, middle - 1.0), "mouth")
    sheet.measure((left, middle - outer), (right, middle - outer), -6.0)
    sheet.measure((left, middle - half), (left, middle + half), 6.0)
    sheet.box((left, WINDOW_FOOT_MM), (right, WINDOW_FOOT_MM + 2 * half + TAB_MM))
    sheet.write((left + 4.0, WINDOW_FOOT_MM + half), "window, clear")
    return sheet


def _end_tab(sheet: Paper, x: float, low: float, high: float) -> None:
    """Draw the tab at a wall's end that is bolted to the station."""
    inset = 1.0 if high > low else -1.0
    sheet.outline([(x, low), (x + TAB_MM, low + inset), (x + TAB_MM, high - inset), (x, high)])
    sheet.line([(x, low), (x, high)], FOLD, dashed=True)
    sheet.circle((x + TAB_MM / 2, (low + high) / 2), SCREW_MM)


def _tin_hood(layout: Layout) -> Paper:
    """Return the base of a tin that stands upside down over the lane and carries the camera."""
    base = layout.pupil[2] + layout.module.pupil_mm - SPACER_MM
    notes = (
        f"A tin {base - layout.lane_height:.0f} mm high (cut it down), at least {_tin_mm(layout):.0f} mm across,",
        "stood upside down on the lane's tabs.",
        "Cut away its rim over the lane at both ends, as high as the window. Paint the inside matte black.",
        "Cut a window on each side, half its height, and cover it with baking paper inside. Tape edges: they cut.",
        BLADES,
        POISON,
    )
    sheet = Paper("Hood from a tin: its base seen from outside, 1:1", notes)
    middle, up = SHEET_MM[0] / 2, 120.0
    module = layout.module
    sheet.circle((middle, up), _tin_mm(layout))
    sheet.circle((middle, up), module.barrel_mm * 2**0.5 + 1.0)
    width, height = module.holes_mm
    rows = (-module.lens_above_row_mm, height - module.lens_above_row_mm)
    holes = [(middle + side * width / 2, up + row) for row in rows for side in (-1, 1)]
    for hole in holes:
        sheet.circle(hole, 2.4)
    sheet.measure(holes[0], holes[1], -8.0)
    sheet.measure(holes[1], holes[3], -8.0)
    half_x = _tin_mm(layout) / 2 + 6.0
    sheet.line([(middle - half_x, up), (middle + half_x, up)], FOLD, dashed=True)
    sheet.write((middle + half_x - 14.0, up + 2.0), "along the lane")
    return sheet


def _tin_mm(layout: Layout) -> float:
    """Return the smallest tin that stands over the zone [mm]."""
    return math.ceil(math.hypot(layout.parameters.lane.zone_mm, 2 * layout.channel) + 4.0)
