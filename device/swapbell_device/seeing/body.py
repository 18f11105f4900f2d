"""From outlines to bodies on the board: closely at first sight and now and then, by a quick look in between."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import cv2
import msgspec
import numpy as np

from swapbell_device.following.track import Blob
from swapbell_device.seeing.closely import CloseLook, Sight
from swapbell_device.seeing.shape import Box, Shape, shape_of
from swapbell_device.seeing.window import Window

if TYPE_CHECKING:
    from cv2.typing import MatLike

# Fewer points than this are a speck whose moments mean nothing.
OUTLINE_MIN = 6
# Our choice: a body that is followed is looked at closely this often; and this often, once so many close looks have
# told its length.
CLOSELY_S, KNOWN_S, ENOUGH = 0.2, 3.0, 10
# A known body's place is marked by how often it was looked at closely, and beyond this if the image's edge cuts it; a
# change of that is worth a close look.
CLIPPED = 100


class Body(msgspec.Struct, frozen=True, eq=False):
    """A blob, and its outline in the mask, legs and shadow included [px]."""

    blob: Blob
    outline: "MatLike"


class Bodies:
    """Tells bodies from everything else that differs, and remembers where they were.

    Parameters
    ----------
    window : Window
        Where the mask lies on the board.
    """

    def __init__(self, window: Window) -> None:
        self._window = window
        self._close_look = CloseLook(window)
        self._known = self._marks = np.zeros(window.size[::-1], np.uint8)
        self._closely_at_s = self._anew_at_s = -math.inf

    @property
    def soft_mm2(self) -> float:
        """How much the last frame showed that differs without a sharp edge [mm^2]."""
        return self._close_look.soft_mm2

    def restart(self) -> None:
        """Begin anew in time, with all that was learnt."""
        self._closely_at_s = self._anew_at_s = -math.inf

    def find(self, outlines: "Sequence[MatLike]", sight: Sight, at_s: float) -> list[Body]:
        """Return the bodies among the outlines of what differs."""
        enough = self._enough(at_s)
        self._close_look.soft_mm2 = 0.0
        self._known, self._marks = self._marks, np.zeros_like(self._marks)
        found: list[Body] = []
        for outline in outlines:
            shape = shape_of([outline]) if len(outline) >= OUTLINE_MIN else None
            if shape is not None and shape.area >= self._close_look.least_px:
                found.extend([Body(blob, outline) for blob in self._see(outline, shape, sight, enough)])
        return found

    def _enough(self, at_s: float) -> int:
        """Return how many close looks are enough now: one, or more of them now and then."""
        if at_s - self._anew_at_s >= KNOWN_S:
            self._anew_at_s = at_s
            return CLIPPED
        if at_s - self._closely_at_s < CLOSELY_S:
            return 1
        self._closely_at_s = at_s
        self._close_look.learn()
        return ENOUGH

    def _see(self, outline: "MatLike", shape: Shape, sight: Sight, enough: int) -> list[Blob]:
        left, top, width, height = cv2.boundingRect(outline)
        box = left, top, width, height
        clipped = self._window.cuts(box)
        looks = int(self._known[int(shape.y), int(shape.x)])
        if enough <= looks - CLIPPED * clipped < CLIPPED and self._close_look.is_usual(shape):
            blobs = [self._quickly(shape, clipped)]
        else:
            blobs = self._close_look.blobs(outline, shape, box, sight)
            looks = min(looks % CLIPPED + 1, CLIPPED - 1) + CLIPPED * clipped
        if len(blobs) == 1:
            self._mark(box, looks)
        return blobs

    def _quickly(self, shape: Shape, clipped: bool) -> Blob:
        laid = self._window.lay(shape)
        return Blob(laid.x, laid.y, laid.long, laid.area, not clipped, 0.0, laid.wide, laid.angle, measured=False)

    def _mark(self, box: Box, looks: int) -> None:
        left, top, width, height = box
        self._marks[max(0, top - 1) : top + height + 1, max(0, left - 1) : left + width + 1] = looks
