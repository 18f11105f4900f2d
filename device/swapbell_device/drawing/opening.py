"""The gate line on the board, and which motions across it are crossings: the exact truth of a drawn scene."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from swapbell_device.drawing.way import STEP_S, Array, Point, Way
from swapbell_models.tally import Direction

# The design's words: a crossing is a centre that passes the line and then gets at least half a body length beyond it.
BEYOND_BODIES = 0.5


@dataclass(frozen=True, slots=True)
class Opening:
    """The gate: a straight line on the board that bodies cross, in mm.

    Attributes
    ----------
    centre_mm
        Its middle.
    along_rad
        Direction of the line on the board.
    width_mm
        Its length.
    inward
        +1 where the inside lies left of the line's direction, turned from x to y, else -1.
    """

    centre_mm: Point
    along_rad: float
    width_mm: float
    inward: int = 1

    def point(self, beyond_mm: float, aside_mm: float) -> Point:
        """Return the board's point that lies so far beyond the line (inside is positive) and so far along it."""
        cos, sin = math.cos(self.along_rad), math.sin(self.along_rad)
        beyond = beyond_mm * self.inward
        return (
            self.centre_mm[0] + aside_mm * cos - beyond * sin,
            self.centre_mm[1] + aside_mm * sin + beyond * cos,
        )

    def ends(self) -> tuple[Point, Point]:
        """Return the two ends of the line on the board [mm]."""
        return self.point(0.0, -self.width_mm / 2), self.point(0.0, self.width_mm / 2)

    def beyond_aside(self, points_mm: Array) -> tuple[Array, Array]:
        """Return how far points (N, 2) lie beyond the line and along it [mm]; the inverse of `point`."""
        cos, sin = math.cos(self.along_rad), math.sin(self.along_rad)
        x, y = points_mm[:, 0] - self.centre_mm[0], points_mm[:, 1] - self.centre_mm[1]
        return (y * cos - x * sin) * self.inward, x * cos + y * sin

    def passages(self, way: Way, length_mm: float) -> Iterator[tuple[float, Direction]]:
        """Yield when [s] and which way a body crosses, by its exact way alone.

        Parameters
        ----------
        way : Way
            The way of the body's centre.
        length_mm : float
            Its length without legs and antennae [mm].
        """
        beyond, aside = self.beyond_aside(way.rows[:, :2])
        side = 1.0 if beyond[0] >= 0.0 else -1.0
        settled = 0
        while (far := _first(beyond[settled:] * side <= -BEYOND_BODIES * length_mm)) is not None:
            settled += far
            before = _last(beyond[:settled] * side >= 0.0)
            part = float(beyond[before] / (beyond[before] - beyond[before + 1]))
            side = -side
            if abs(aside[before] + part * (aside[before + 1] - aside[before])) <= self.width_mm / 2:
                yield way.start_s + STEP_S * (before + part), _direction(side)


def _direction(side: float) -> Direction:
    return Direction.IN if side > 0.0 else Direction.OUT


def _first(true: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> int | None:
    place = int(np.argmax(true))
    return place if true[place] else None


def _last(true: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> int:
    return len(true) - 1 - int(np.argmax(true[::-1]))
