"""The part of the view that is worked on: around the gate, and no finer than a body needs."""

import cv2
import numpy as np

from swapbell_device.camera import Luma
from swapbell_device.stationfile import StationFile
from swapbell_models.optics import Optics, Point

# Our choice: at this scale a wasp's thorax (3.5 mm) is 8 px wide; finer costs time and tells no more.
WORKING_MM_PER_PX = 0.45
# Our choice: a wasp that flies at 1 m/s is then seen in three frames at 30 a second.
REACH_MM = 60.0
# Our choice: a picture smaller than this is not shrunk any more.
LEAST_PX = 16


class Window:
    """Cuts the worked-on part out of a frame and shrinks it, and tells where its pixels lie on the board.

    Parameters
    ----------
    station : StationFile
        The gate and the view.
    size : (int, int)
        Width and height of the frames [px].
    """

    def __init__(self, station: StationFile, size: tuple[int, int]) -> None:
        self._optics: Optics = station.view
        gate = station.gate
        centre = _middle(gate.start_px, gate.end_px)
        scale = station.view.mm_per_px(*centre)
        self.halvings = _halvings(scale, min(size))
        self.mm_per_px = scale * 2**self.halvings
        step = 2**self.halvings
        reach_px = REACH_MM / scale
        left, right = sorted((gate.start_px[0], gate.end_px[0]))
        top, bottom = sorted((gate.start_px[1], gate.end_px[1]))
        self.columns = _span(left - reach_px, right + reach_px, size[0], step)
        self.rows = _span(top - reach_px, bottom + reach_px, size[1], step)
        self.size = len(range(*self.columns)) // step, len(range(*self.rows)) // step

    def view(self, image: Luma) -> Luma:
        """Return the worked-on part at full size, without copying."""
        return image[self.rows[0] : self.rows[1], self.columns[0] : self.columns[1]]

    def cut(self, image: Luma) -> Luma:
        """Return the worked-on part of a frame, shrunk: halving by halving, which is much cheaper than at once."""
        part = self.view(image)
        for _ in range(self.halvings):
            half = np.empty((part.shape[0] // 2, part.shape[1] // 2), np.uint8)
            cv2.resize(part, half.shape[::-1], half, interpolation=cv2.INTER_AREA)
            part = half
        return part

    def to_mm(self, x: float, y: float) -> Point:
        """Return the point on the board [mm] of a point in the cut part [px of it]."""
        step = 1 << self.halvings
        half = 0.5 * (step - 1)
        return self._optics.to_mm(x * step + half + self.columns[0], y * step + half + self.rows[0])


def _middle(a: Point, b: Point) -> Point:
    return (a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0


def _halvings(scale: float, least_px: int) -> int:
    count = 0
    while scale * 2 ** (count + 1) <= WORKING_MM_PER_PX and least_px >> (count + 1) >= LEAST_PX:
        count += 1
    return count


def _span(low: float, high: float, limit: int, step: int) -> tuple[int, int]:
    start = max(0, int(low)) // step * step
    stop = min(limit, int(high) + step)
    return start, start + max(step, (stop - start) // step * step)
