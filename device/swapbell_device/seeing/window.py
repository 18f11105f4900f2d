"""The part of the view that is worked on: around the gate, and no finer than a body needs."""

from collections import deque

import cv2
import numpy as np

from swapbell_device.camera import Luma
from swapbell_device.seeing.shape import Box, Shape
from swapbell_device.stationfile import StationFile
from swapbell_models.optics import Square

# Our choice: frames are compared at a scale at which an insect's bands (0.7 mm) are still a pixel or two.
WORKING_MM_PER_PX = 0.45
# Our choice: bodies are told in a mask no coarser than this: a wasp's thorax (3.5 mm) is then four pixels wide, while
# legs, bands and noise average out.
MASK_MM_PER_PX = 0.85
# Our choice: a wasp that flies at 1 m/s is then seen in three frames at 30 a second.
REACH_MM = 60.0
# Our choice: a picture smaller than this is not shrunk any more.
LEAST_PX = 16
# Our choice: the least blur there is; a body's bands melt, and so does what noise is left.
BLUR_PX = (3, 3)
# A frame, the two before it, and one to write into: fresh memory costs more than what is done in it.
PLACES = 4


class Window:
    """Cuts the worked-on part out of a frame and shrinks it, and tells where the mask's pixels lie on the board.

    Parameters
    ----------
    station : StationFile
        The gate and the view.
    size : (int, int)
        Width and height of the frames [px].

    Attributes
    ----------
    coarse
        Whether the mask is half as fine as what frames are compared at.
    step, mm_per_px, size
        One pixel of the mask in pixels of the frame, its scale at the gate [mm/px], and the mask's width and height.
    """

    def __init__(self, station: StationFile, size: tuple[int, int]) -> None:
        self._optics = station.view
        (x1, y1), (x2, y2) = station.gate.start_px, station.gate.end_px
        scale = station.view.mm_per_px((x1 + x2) / 2.0, (y1 + y2) / 2.0)
        self._halvings = _halvings(scale, min(size))
        self.coarse = scale * 2 ** (self._halvings + 1) <= MASK_MM_PER_PX
        self.step: int = 1 << (self._halvings + self.coarse)
        self.mm_per_px: float = scale * self.step
        reach_px = REACH_MM / scale
        self._columns = _span(min(x1, x2) - reach_px, max(x1, x2) + reach_px, size[0], self.step)
        self._rows = _span(min(y1, y2) - reach_px, max(y1, y2) + reach_px, size[1], self.step)
        half = 0.5 * (self.step - 1)
        self._corner_px = self._columns[0] + half, self._rows[0] + half
        shape = tuple(len(range(*span)) >> self._halvings for span in (self._rows, self._columns))
        self._places = deque(np.empty(shape, np.uint8) for _ in range(PLACES))
        self.size = len(range(*self._columns)) // self.step, len(range(*self._rows)) // self.step

    def view(self, image: Luma) -> Luma:
        """Return the worked-on part at full size, without copying."""
        return image[self._rows[0] : self._rows[1], self._columns[0] : self._columns[1]]

    def cut(self, image: Luma) -> Luma:
        """Return the worked-on part of a frame, shrunk: halving by halving, which is much cheaper than at once."""
        part = self.view(image)
        for _ in range(self._halvings):
            part = _half(part)
        return part

    def cut_for_now(self, image: Luma) -> Luma:
        """Return the same in one of a few places that are used in turn: it holds for two more frames."""
        part = self.view(image)
        if not self._halvings:
            return part.copy()
        for _ in range(self._halvings - 1):
            part = _half(part)
        height, width = part.shape
        self._places.rotate()
        work = self._places[0]
        cv2.resize(part, (width // 2, height // 2), work, interpolation=cv2.INTER_AREA)
        return work

    def thin(self, difference: Luma) -> Luma:
        """Return a difference at the mask's scale: averaged after the sign is gone, so that bands do not cancel."""
        thin = _half(difference) if self.coarse else difference
        return np.asarray(cv2.GaussianBlur(thin, BLUR_PX, 0), np.uint8)

    def cuts(self, box: Box) -> bool:
        """Tell whether the mask's edge may cut what a box holds [px of the mask]."""
        left, top, width, height = box
        right, bottom = self.size
        return left <= 1 or top <= 1 or left + width >= right - 1 or top + height >= bottom - 1

    def lay(self, shape: Shape) -> Shape:
        """Return where a shape of the mask lies on the board, and how long and wide it is there [mm, mm^2]."""
        x_px, y_px = shape.x * self.step + self._corner_px[0], shape.y * self.step + self._corner_px[1]
        x_mm, y_mm = self._optics.to_mm(x_px, y_px)
        if isinstance(self._optics, Square):
            scale = self.mm_per_px
            return Shape(x_mm, y_mm, shape.long * scale, shape.wide * scale, shape.angle, shape.area * scale * scale)
        ahead, below = self._optics.to_mm(x_px + self.step, y_px), self._optics.to_mm(x_px, y_px + self.step)
        return shape.turned((x_mm, y_mm), (ahead[0] - x_mm, ahead[1] - y_mm), (below[0] - x_mm, below[1] - y_mm))


def _half(image: Luma) -> Luma:
    height, width = image.shape
    return np.asarray(cv2.resize(image, (width // 2, height // 2), interpolation=cv2.INTER_AREA), np.uint8)


def _halvings(scale: float, least_px: int) -> int:
    count = 0
    while scale * 2 ** (count + 1) <= WORKING_MM_PER_PX and least_px >> (count + 2) >= LEAST_PX:
        count += 1
    return count


def _span(low: float, high: float, limit: int, step: int) -> tuple[int, int]:
    """Return start and stop of a stretch within an image, a whole number of steps long."""
    start = max(0, min(int(low), limit - step)) // step * step
    stop = min(limit, int(high) + step)
    return start, start + max(step, (stop - start) // step * step)
