"""How a drawn camera sees the board: its frame, and the optics from millimetres on the board to pixels."""

import math
from dataclasses import dataclass

from swapbell_device.drawing.way import Point
from swapbell_models.optics import Optics

# Our choice: the step over which the view's stretching is taken; any view is straight over a millimetre.
STEP_MM = 0.5

Square2 = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Sight:
    """A view of the board: width and height of the image [px], and how its points lie on the board."""

    size: tuple[int, int]
    optics: Optics

    def px(self, point_mm: Point) -> Point:
        """Return where a point of the board is seen [px]."""
        return self.optics.to_px(*point_mm)

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
