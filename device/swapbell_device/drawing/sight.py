"""How a drawn camera sees the board: its frame, and the optics from millimetres on the board to pixels."""

import math
from dataclasses import dataclass

from swapbell_device.drawing.way import Point
from swapbell_models.optics import Optics, angled

# Our choice: the step over which the view's stretching is taken; any view is straight over a millimetre.
STEP_MM = 0.5
# A lens whose focal length is 1.2 image widths sees 45 degrees: common practice for board cameras, no source.
FOCAL_WIDTHS = 1.2

Square2 = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Sight:
    """A view of the board: width and height of the image [px], and how its points lie on the board."""

    size: tuple[int, int]
    optics: Optics

    def px(self, point_mm: Point) -> Point:
        """Return where a point of the board is seen [px]."""
        return self.optics.to_px(*point_mm)

    def corners_px(self) -> list[Point]:
        """Return the image's four corners, from the top left one on round [px]."""
        right, bottom = self.size[0] - 1.0, self.size[1] - 1.0
        return [(0.0, 0.0), (right, 0.0), (right, bottom), (0.0, bottom)]

    def stretch(self, point_mm: Point) -> Square2:
        """Return how a small step on the board is seen there: the view's derivative (2, 2) [px/mm]."""
        x, y = point_mm
        (left_x, left_y), (right_x, right_y) = self.px((x - STEP_MM, y)), self.px((x + STEP_MM, y))
        (up_x, up_y), (down_x, down_y) = self.px((x, y - STEP_MM)), self.px((x, y + STEP_MM))
        step = 2.0 * STEP_MM
        return (
            ((right_x - left_x) / step, (down_x - up_x) / step),
            ((right_y - left_y) / step, (down_y - up_y) / step),
        )

    def px_per_mm(self, point_mm: Point) -> float:
        """Return the mean scale at a point of the board [px/mm]."""
        (a, b), (c, d) = self.stretch(point_mm)
        return math.sqrt(abs(a * d - b * c))

    def shows(self, point_mm: Point, margin_px: float = 0.0) -> bool:
        """Tell whether a point of the board lies in the image or within a margin around it."""
        x, y = self.px(point_mm)
        width, height = self.size
        return -margin_px <= x <= width - 1 + margin_px and -margin_px <= y <= height - 1 + margin_px


def tilted(size: tuple[int, int], mm_per_px: float, tilt_rad: float, axis_rad: float) -> Sight:
    """Return the view of a pinhole camera that looks at the board at an angle.

    Parameters
    ----------
    size : (int, int)
        Width and height of the image [px].
    mm_per_px : float
        Scale in the middle of the image, across the tilt [mm/px].
    tilt_rad, axis_rad : float
        How far the camera is tilted from square to the board, and the direction of the axis in the board [rad].
    """
    points_mm = [(x * mm_per_px, y * mm_per_px) for x in (0.0, float(size[0])) for y in (0.0, float(size[1]))]
    points_px = [_pinhole(point, size, mm_per_px, tilt_rad, axis_rad) for point in points_mm]
    return Sight(size, angled(points_px, points_mm))


def _pinhole(point_mm: Point, size: tuple[int, int], mm_per_px: float, tilt: float, axis: float) -> Point:
    """Return where the tilted camera, above the middle of the view, sees a point of the board [px]."""
    cos, sin, focal_px = math.cos(axis), math.sin(axis), FOCAL_WIDTHS * size[0]
    x, y = point_mm[0] - 0.5 * size[0] * mm_per_px, point_mm[1] - 0.5 * size[1] * mm_per_px
    along, across = x * cos + y * sin, y * cos - x * sin
    px_per_mm = focal_px / (focal_px * mm_per_px + across * math.sin(tilt))
    across *= math.cos(tilt)
    return (
        size[0] / 2 + px_per_mm * (along * cos - across * sin),
        size[1] / 2 + px_per_mm * (along * sin + across * cos),
    )
