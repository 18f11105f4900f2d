"""The shape of outlines: the ellipse that has the same moments, and which pieces are one body."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import msgspec
import numpy as np

from swapbell_device.camera import Luma
from swapbell_models.optics import Point

if TYPE_CHECKING:
    from cv2.typing import MatLike

Box = tuple[int, int, int, int]

# A body is a dumbbell rather than an ellipse (4 sigma) or a rod (3.46): between the two, our choice.
LENGTH_PER_SIGMA = 3.68
# Our choice: a piece this small beside the largest is no part of the body.
PIECE_SHARE = 0.2
# Our choice: pieces of one body lie in line, so together they are hardly wider than one, and no longer than a wasp.
JOINED_MM, JOINED_WIDTH = 18.0, 1.25
# Our choice: what is wider than this for its length is wider than a single body.
STOUT = 0.5
# An outline may leave another's by what opening and closing moved.
SLACK_PX = 2.0
_NEAR = np.ones((3, 3), np.uint8)


class Shape(msgspec.Struct, frozen=True):
    """The ellipse with the same moments [px of the mask, or mm]: centre, length, width, direction [rad], the area."""

    x: float
    y: float
    long: float
    wide: float
    angle: float
    area: float

    def is_stout(self) -> bool:
        """Tell whether it is wider than a single body of its length."""
        return self.wide >= STOUT * self.long

    def turned(self, centre: Point, ahead: Point, below: Point) -> "Shape":
        """Return it in other coordinates, in which a step along x is `ahead` and one along y is `below`."""
        c, s = math.cos(self.angle), math.sin(self.angle)
        long = self.long * (c * ahead[0] + s * below[0]), self.long * (c * ahead[1] + s * below[1])
        wide = self.wide * (c * below[0] - s * ahead[0]), self.wide * (c * below[1] - s * ahead[1])
        xx, yy = long[0] ** 2 + wide[0] ** 2, long[1] ** 2 + wide[1] ** 2
        xy = long[0] * long[1] + wide[0] * wide[1]
        mean, root = 0.5 * (xx + yy), math.hypot(0.5 * (xx - yy), xy)
        area = self.area * abs(ahead[0] * below[1] - ahead[1] * below[0])
        sizes = math.sqrt(mean + root), math.sqrt(max(0.0, mean - root))
        return Shape(*centre, *sizes, 0.5 * math.atan2(2.0 * xy, xx - yy), area)


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Outlines that belong together, and their common shape; `single` is False if they were torn from others."""

    outlines: "Sequence[MatLike]"
    shape: Shape
    single: bool = True

    def box(self) -> Box:
        """Return left, top, width and height [px of the mask]."""
        one = self.outlines[0] if len(self.outlines) == 1 else np.concatenate(self.outlines)
        left, top, width, height = cv2.boundingRect(one)
        return left, top, width, height

    def holds(self, other: "Pieces") -> bool:
        """Tell whether other pieces lie within these."""
        x, y = other.outlines[0][0, 0].tolist()
        return any(cv2.pointPolygonTest(o, (float(x), float(y)), measureDist=True) > -SLACK_PX for o in self.outlines)


def shape_of(outlines: "Sequence[MatLike]") -> Shape | None:
    """Return the common shape of outlines, None for a line without an area."""
    if len(outlines) == 1:
        m = cv2.moments(outlines[0])
        if (area := m["m00"]) <= 0.0:
            return None
        centre = m["m10"] / area, m["m01"] / area
        return _ellipse(area, centre, m["mu20"] / area, m["mu11"] / area, m["mu02"] / area, len(outlines[0]))
    each = [cv2.moments(outline) for outline in outlines]
    area, x, y, xx, xy, yy = (sum(m[key] for m in each) for key in ("m00", "m10", "m01", "m20", "m11", "m02"))
    if area <= 0.0:
        return None
    x, y = x / area, y / area
    return _ellipse(area, (x, y), xx / area - x * x, xy / area - x * y, yy / area - y * y, sum(map(len, outlines)))


def _ellipse(area: float, centre: tuple[float, float], a: float, b: float, c: float, rim: int) -> Shape:
    mean, root = 0.5 * (a + c), math.hypot(0.5 * (a - c), b)
    long = max(1.0, LENGTH_PER_SIGMA * math.sqrt(mean + root))
    wide = max(1.0, LENGTH_PER_SIGMA * math.sqrt(max(0.0, mean - root)))
    # A polygon through the pixels' centres misses half of its rim's pixels (Pick, 1899: A = I + R/2 - 1).
    return Shape(*centre, long, wide, 0.5 * math.atan2(2.0 * b, a - c), area + 0.5 * rim + 1.0)


def cores(difference: Luma, least: float, least_px: float, mm_per_px: float, corner: tuple[int, int]) -> list[Pieces]:
    """Return what is left of a patch without legs and antennae, the pieces of one body together.

    Parameters
    ----------
    difference : Luma
        One blob's difference, 0 around it.
    least : float
        Weaker differences are not body [grey levels].
    least_px : float
        Smaller pieces are not body [px of the mask].
    mm_per_px : float
        Scale.
    corner : (int, int)
        Where the patch lies in the mask.
    """
    strong = cv2.threshold(difference, least, 255, cv2.THRESH_BINARY)[1]
    core = cv2.dilate(cv2.erode(strong, _NEAR), _NEAR, iterations=2)
    outlines = cv2.findContours(cv2.erode(core, _NEAR), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE, offset=corner)[0]
    shapes = ((outline, shape_of([outline])) for outline in outlines)
    pieces = [Pieces([outline], shape) for outline, shape in shapes if shape and shape.area >= least_px]
    most = max((piece.shape.area for piece in pieces), default=0.0)
    return _joined([piece for piece in pieces if piece.shape.area >= PIECE_SHARE * most], mm_per_px)


def _joined(pieces: list[Pieces], mm_per_px: float) -> list[Pieces]:
    """Join pieces of one body: they lie in line and are together no longer than a body can be."""
    for i, one in enumerate(pieces):
        for j, other in enumerate(pieces[:i]):
            both = shape_of([*one.outlines, *other.outlines])
            widest = max(one.shape.wide, other.shape.wide)
            if both and both.long * mm_per_px <= JOINED_MM and both.wide <= JOINED_WIDTH * widest:
                rest = [piece for k, piece in enumerate(pieces) if k not in (i, j)]
                return _joined([Pieces([*one.outlines, *other.outlines], both), *rest], mm_per_px)
    return pieces
