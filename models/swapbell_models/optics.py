"""From image points to millimetres on the board, for a square and for an angled view.

Both views answer the same three questions, so nothing else needs to know which one it has. A body stands a few
millimetres above the board; what that does to its place and length is left out.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Point = tuple[float, float]

# A plane seen in perspective has eight unknowns and each pair of points fixes two.
PLANE_PAIRS_MIN = 4
# Our choice: a second singular value this small against the first means that the points lie on one line.
DEGENERATE_RATIO = 1e-6
# Our choice, beyond what a lens can give: at 0.001 mm/px a wasp is wider than any sensor, at 100 mm/px a tenth of a
# pixel long.
SCALE_MIN_MM_PER_PX = 0.001
SCALE_MAX_MM_PER_PX = 100.0
# Our choice, far beyond any sensor and any board.
COORDINATE_MAX = 1e6


class Optics(Protocol):
    """How a view's image points lie on the board."""

    def to_mm(self, x_px: float, y_px: float) -> Point:
        """Return the point on the board [mm]."""
        ...

    def to_px(self, x_mm: float, y_mm: float) -> Point:
        """Return the point in the image [px]."""
        ...

    def mm_per_px(self, x_px: float, y_px: float) -> float:
        """Return the local scale [mm/px]: the root of the area that a small square takes on the board."""
        ...


@dataclass(frozen=True, slots=True)
class Square:
    """A camera square to the board.

    Attributes
    ----------
    scale
        Millimetres per pixel [mm/px], from `SCALE_MIN_MM_PER_PX` to `SCALE_MAX_MM_PER_PX`.
    """

    scale: float

    def __post_init__(self) -> None:
        """Refuse what is no scale, or none that a lens can give."""
        if not _is_scale(self.scale):
            raise ValueError(
                f"the scale must be a positive number of millimetres per pixel, from {SCALE_MIN_MM_PER_PX:g} to "
                f"{SCALE_MAX_MM_PER_PX:g}, not {self.scale:g}"
            )

    def to_mm(self, x_px: float, y_px: float) -> Point:
        """Return the point on the board [mm]."""
        return x_px * self.scale, y_px * self.scale

    def to_px(self, x_mm: float, y_mm: float) -> Point:
        """Return the point in the image [px]."""
        return x_mm / self.scale, y_mm / self.scale

    def mm_per_px(self, x_px: float, y_px: float) -> float:  # noqa: ARG002  (the scale is the same everywhere)
        """Return the scale [mm/px]."""
        return self.scale


@dataclass(frozen=True, slots=True)
class Angled:
    """A board seen at an angle: a homography, row by row, image to board and back."""

    forward: tuple[float, ...]
    backward: tuple[float, ...]

    def to_mm(self, x_px: float, y_px: float) -> Point:
        """Return the point on the board [mm]."""
        return _project(self.forward, x_px, y_px)

    def to_px(self, x_mm: float, y_mm: float) -> Point:
        """Return the point in the image [px]."""
        return _project(self.backward, x_mm, y_mm)

    def mm_per_px(self, x_px: float, y_px: float) -> float:
        """Return the local scale [mm/px], from the homography's Jacobian: its determinant is det H / w^3.

        Infinite on the board's horizon.
        """
        a, b, c, d, e, f, g, h, i = self.forward
        w = g * x_px + h * y_px + i
        if w == 0.0:
            return math.inf
        determinant = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
        return math.sqrt(abs(determinant / w / w / w))


def angled(image_px: Sequence[Point], board_mm: Sequence[Point]) -> Angled:
    """Fit the homography that carries image points to the board.

    Direct linear transform with normalised points, least squares: Hartley and Zisserman, Multiple View Geometry,
    2nd ed., algorithm 4.2 (from memory).

    Parameters
    ----------
    image_px, board_mm : sequence of (x, y)
        The same points in the image [px] and on the board [mm]; at least four, no three of four on one line.

    Raises
    ------
    ValueError
        If there are too few points, not equally many, not finite, they do not fix a plane, or no lens sees it so.
    """
    source, target = _points("image_px", image_px), _points("board_mm", board_mm)
    if len(source) != len(target):
        raise ValueError(f"{len(source)} image points but {len(target)} board points")
    if len(source) < PLANE_PAIRS_MIN:
        raise ValueError(f"an angled view needs at least {PLANE_PAIRS_MIN} pairs of points, not {len(source)}")
    to_source, to_target = _normalising(source), _normalising(target)
    normal = _solve(_moved(to_source, source), _moved(to_target, target))
    matrix = np.asarray(np.linalg.inv(to_target) @ normal @ to_source, np.float64)
    if np.linalg.cond(normal) > 1.0 / DEGENERATE_RATIO:
        raise ValueError("the points do not fix a plane: too many of them lie on one line")
    view = Angled(_row(matrix), _row(np.asarray(np.linalg.inv(matrix), np.float64)))
    check_scale(view, image_px)
    return view


def check_scale(view: Optics, points_px: Sequence[Point]) -> None:
    """Refuse image points [px] at which no lens can give the view's local scale.

    Raises
    ------
    ValueError
        If it is not from `SCALE_MIN_MM_PER_PX` to `SCALE_MAX_MM_PER_PX`.
    """
    for x, y in points_px:
        if not _is_scale(scale := view.mm_per_px(x, y)):
            raise ValueError(
                f"a pixel at ({x:g}, {y:g}) would be {scale:g} mm on the board, and no lens gives less than "
                f"{SCALE_MIN_MM_PER_PX:g} or more than {SCALE_MAX_MM_PER_PX:g}"
            )


def _is_scale(mm_per_px: float) -> bool:
    return SCALE_MIN_MM_PER_PX <= mm_per_px <= SCALE_MAX_MM_PER_PX


def _project(h: tuple[float, ...], x: float, y: float) -> Point:
    w = h[6] * x + h[7] * y + h[8]
    return (h[0] * x + h[1] * y + h[2]) / w, (h[3] * x + h[4] * y + h[5]) / w


def _points(name: str, pairs: Sequence[Point]) -> NDArray[np.float64]:
    points = np.array(pairs, dtype=np.float64).reshape(len(pairs), 2)
    within = (np.abs(points) <= COORDINATE_MAX).all(axis=1)
    if not within.all():
        x, y = pairs[int(within.argmin())]
        raise ValueError(
            f"{name} must be points of two finite numbers, none beyond {COORDINATE_MAX:g}, not ({x:g}, {y:g})"
        )
    return points


def _normalising(points: NDArray[np.float64]) -> NDArray[np.float64]:
    centre = points.mean(axis=0)
    spread = float(np.sqrt(((points - centre) ** 2).sum(axis=1)).mean())
    if spread < DEGENERATE_RATIO:
        raise ValueError("the points do not fix a plane: they are all one point")
    s = math.sqrt(2.0) / spread
    return np.array([[s, 0.0, -s * centre[0]], [0.0, s, -s * centre[1]], [0.0, 0.0, 1.0]])


def _moved(matrix: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    moved: NDArray[np.float64] = points * matrix[0, 0] + matrix[:2, 2]
    return moved


def _solve(source: NDArray[np.float64], target: NDArray[np.float64]) -> NDArray[np.float64]:
    rows: list[list[float]] = []
    for (x, y), (u, v) in zip(source.tolist(), target.tolist(), strict=True):
        rows.append([x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y, -u])
        rows.append([0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y, -v])
    _, singular, vectors = np.linalg.svd(np.array(rows), full_matrices=True)
    if singular[7] < DEGENERATE_RATIO * singular[0]:
        raise ValueError("the points do not fix a plane: too many of them lie on one line")
    return np.asarray(vectors[-1].reshape(3, 3), np.float64)


def _row(matrix: NDArray[np.float64]) -> tuple[float, ...]:
    if matrix[2, 2] == 0.0:
        raise ValueError("the points put the image's corner on the board's horizon; no lens sees it so")
    return tuple(float(value) for value in (matrix / matrix[2, 2]).ravel())
