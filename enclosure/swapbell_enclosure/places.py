"""Where screws and openings sit in the hood and the box, worked out from the layout [mm]."""

import math
from dataclasses import dataclass

from swapbell_enclosure.layout import (
    BOARD_PLAY_MM,
    CEILING_MM,
    COLLAR_MM,
    FLANGE_MM,
    LEDGE_MM,
    MESH_FRAME_MM,
    PLAY_MM,
    POST_MM,
    SADDLE_MM,
    Layout,
    Point3,
    Span,
)

# Our choice: slots too narrow for a finger, ribs of two nozzle widths more than the least wall.
SLOT_MM, RIB_MM, SLOT_LENGTH_MM, SLOTS = 3.0, 3.0, 14.0, 5
# Our choice: openings for light no wider than this, and upright for so much above their point at least.
PANE_MAX_MM, PANE_UPRIGHT_MM = 30.0, 10.0
VISOR_SLOPE = math.tan(math.radians(30.0))


@dataclass(frozen=True, slots=True)
class Vent:
    """A row of slots with a mesh behind it: its middle on the wall's inner face, and where outside is."""

    middle: Point3
    outwards: Point3
    wall: float

    @property
    def half_slots(self) -> float:
        """Half the length of the row."""
        return (SLOTS * SLOT_MM + (SLOTS - 1) * RIB_MM) / 2

    @property
    def half_frame(self) -> tuple[float, float]:
        """Half the mesh frame's length and height."""
        return self.half_slots + 10.0, SLOT_LENGTH_MM / 2 + 4.0

    @property
    def slots(self) -> list[Span]:
        """The slots' bounds along the row."""
        first = self.middle[0] - self.half_slots
        starts = [first + each * (SLOT_MM + RIB_MM) for each in range(SLOTS)]
        return [(start, start + SLOT_MM) for start in starts]

    @property
    def holes(self) -> list[Point3]:
        """The frame's two screws, under their heads."""
        x, y, z = self.middle
        inwards = [-each * MESH_FRAME_MM for each in self.outwards]
        across = self.half_slots + 6.2
        return [(x + side * across, y + inwards[1], z + inwards[2]) for side in (-1, 1)]


def vents(layout: Layout) -> list[Vent]:
    """Return the vents: air enters through the floor of the gland's wing and leaves under the lid's lip."""
    high, floor = layout.box_y[1], layout.hood_top + CEILING_MM
    inlet = Vent((8.0, gland(layout)[1], floor), (0.0, 0.0, -1.0), CEILING_MM)
    rise = layout.box_top - 2.0 - inlet.half_frame[1]
    outlet = Vent((0.0, high - layout.wall, rise), (0.0, 1.0, 0.0), layout.wall)
    return [inlet, outlet]


def light(layout: Layout) -> Span:
    """Return the lowest and the highest point of the hood's openings for light."""
    return layout.window_top + 12.0, layout.ceiling - 12.0


def panes(layout: Layout) -> list[Span]:
    """Return the openings' bounds along the lane, none wider than its 45 degree point may be high."""
    half, (low, high) = layout.hood_inner[0] - POST_MM - 3.0, light(layout)
    widest = min(PANE_MAX_MM, 2.0 * max(high - low - PANE_UPRIGHT_MM, PANE_UPRIGHT_MM))
    number = max(1, math.ceil(2 * half / widest))
    width = (2 * half - (number - 1) * 4.0) / number
    starts = [-half + each * (width + 4.0) for each in range(number)]
    return [(start, start + width) for start in starts]


def visor_reach(layout: Layout) -> float:
    """Return how far the visor reaches out: over the lane's mouth and a worker's length beyond."""
    return layout.half_length - layout.hood_outer[0] + 13.0


def visor_top(layout: Layout) -> float:
    """Return the visor's upper edge, which lets its lower one end well above the lane."""
    return layout.window_top + 10.0 + visor_reach(layout) * VISOR_SLOPE


def gaze(layout: Layout) -> Point3:
    """Return where the camera looks, a unit vector."""
    tilt = math.radians(layout.sight.tilt_deg)
    return math.sin(tilt), 0.0, -math.cos(tilt)


def on_camera(layout: Layout, along: float, across: float, behind: float) -> Point3:
    """Return a point given from the lens's pupil: along the board's width, across it, and behind the pupil."""
    (x, y, z), (gx, _, gz) = layout.pupil, gaze(layout)
    return x - gz * along - gx * behind, y + across, z + gx * along - gz * behind


def camera_holes(layout: Layout) -> list[Point3]:
    """Return the camera module's four holes, on its board's face."""
    module = layout.module
    width, height = module.holes_mm
    rows = (-module.lens_above_row_mm, height - module.lens_above_row_mm)
    return [on_camera(layout, side * width / 2, row, module.pupil_mm) for side in (-1, 1) for row in rows]


def camera_plate(layout: Layout) -> tuple[Span, Span]:
    """Return the camera plate's bounds along and across the lane."""
    module, x = layout.module, layout.pupil[0]
    half = module.board_mm[0] / 2 + FLANGE_MM
    near = module.board_mm[1] - module.far_edge_mm
    return (x - half, x + half), (-module.far_edge_mm - FLANGE_MM, near + FLANGE_MM)


def camera_plate_holes(layout: Layout) -> list[tuple[float, float]]:
    """Return the four screws that hold the camera plate on the hood."""
    (x0, x1), (y0, y1) = camera_plate(layout)
    inset = FLANGE_MM / 2
    return [(x, y) for x in (x0 + inset, x1 - inset) for y in (y0 + inset, y1 - inset)]


def board_middle(layout: Layout) -> tuple[float, float]:
    """Return the middle of the single-board computer, in the wing on its side."""
    return 0.0, layout.hood_outer[1] + BOARD_PLAY_MM + layout.board.size_mm[1] / 2


def board_holes(layout: Layout) -> list[tuple[float, float]]:
    """Return the board's four holes."""
    (x, y), (width, height) = board_middle(layout), layout.board.holes_mm
    return [(x + sx * width / 2, y + sy * height / 2) for sx in (-1, 1) for sy in (-1, 1)]


def box_posts(layout: Layout) -> list[tuple[float, float]]:
    """Return the middles of the posts in the box's corners."""
    inset = layout.wall + POST_MM / 2
    (low, high), along = layout.box_y, layout.box_x - inset
    return [(sx * along, y) for sx in (-1, 1) for y in (low + inset, high - inset)]


def hanger_feet(layout: Layout) -> tuple[float, float]:
    """Return the places across the lane at which the hanger stands on the lid."""
    middle = sum(layout.box_y) / 2
    return middle - 38.0, middle + 38.0


def sagitta(diameter: float | None, half_chord: float) -> float:
    """Return how far a round wall falls back from its front at half a chord [mm]; nothing for a flat one."""
    if diameter is None:
        return 0.0
    return diameter / 2 - math.sqrt((diameter / 2) ** 2 - half_chord**2)


def adapter_depth(layout: Layout) -> float:
    """Return how much of the thickest adapter the screws of the ears go through."""
    station, across = layout.parameters.station, layout.ear_holes[-1][0]
    saddles = [SADDLE_MM + sagitta(each, layout.ear_y) for each in (station.pot_mm, station.tub_mm)]
    narrow = station.tins_mm + 2 * (PLAY_MM - LEDGE_MM)
    return max(*saddles, COLLAR_MM + layout.wall + LEDGE_MM + sagitta(narrow, across))


def gland(layout: Layout) -> tuple[float, float]:
    """Return the middle of the cable gland in the floor."""
    return -layout.box_x + layout.wall + 16.0, -layout.hood_outer[1] - 14.0
