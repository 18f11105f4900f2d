"""Ghosts: places where the background, not the frame, holds a body that has left.

A body has edges where it is. If the outline of a difference runs along edges of the background rather than of the
frame, what stood there has gone, and the background is mended at once. It works for dark and bright bodies alike.
"""

from typing import TYPE_CHECKING

import cv2
import numpy as np

from swapbell_device.camera import Luma
from swapbell_device.seeing.background import Background
from swapbell_device.seeing.shape import Box

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from cv2.typing import MatLike

# Our choice: the background's edges must be this much stronger than the frame's, and by this many grey levels.
EDGE_RATIO, EDGE_STEP = 1.5, 4.0
# Our choice: weaker ghosts are left to the background's own pace [grey levels].
GHOST_MIN = 10.0
# The outline lies between the two pixels whose difference makes the edge.
RING_PX = 3
# What is mended reaches this far beyond the outline: a body's rim is blurred.
RIM_PX = 2
_NEAR = np.ones((3, 3), np.uint8)


def mend(work: Luma, ground: Background, boxes: "Iterable[Box]", least_px: float) -> None:
    """Mend every ghost of at least that area in any of the boxes [px of the work]."""
    ghosts: list[MatLike] = []
    bodies: list[MatLike] = []
    for left, top, width, height in boxes:
        where = slice(max(0, top), max(0, top) + height), slice(max(0, left), max(0, left) + width)
        now, then, corner = work[where], ground.shown[where], (max(0, left), max(0, top))
        for outline in (*_outlines(now, then, corner), *_outlines(then, now, corner)):
            large = cv2.contourArea(outline) >= least_px
            (ghosts if large and _is_ghost(outline, work, ground.shown) else bodies).append(outline)
    if ghosts:
        mask = cv2.dilate(_filled(ghosts, work), _NEAR, iterations=RIM_PX)
        mask[cv2.dilate(_filled(bodies, work), _NEAR, iterations=RIM_PX) > 0] = 0
        ground.mend(work, mask)


def _filled(outlines: "list[MatLike]", work: Luma) -> Luma:
    mask = np.zeros_like(work)
    cv2.drawContours(mask, outlines, -1, 255, -1)
    return mask


def _outlines(brighter: Luma, darker: Luma, corner: tuple[int, int]) -> "Sequence[MatLike]":
    over = cv2.threshold(cv2.subtract(brighter, darker), GHOST_MIN, 255, cv2.THRESH_BINARY)[1]
    over = cv2.morphologyEx(over, cv2.MORPH_OPEN, _NEAR)
    return cv2.findContours(over, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE, offset=corner)[0]


def _is_ghost(outline: "MatLike", work: Luma, shown: Luma) -> bool:
    left, top, width, height = cv2.boundingRect(outline)
    y, x = max(0, top - RIM_PX), max(0, left - RIM_PX)
    where = slice(y, top + height + RIM_PX), slice(x, left + width + RIM_PX)
    ring = np.zeros_like(work[where])
    cv2.drawContours(ring, [outline], 0, 255, RING_PX, offset=(-x, -y))
    then, now = _edge(shown[where], ring), _edge(work[where], ring)
    return then > EDGE_RATIO * now and then > now + EDGE_STEP


def _edge(patch: Luma, ring: Luma) -> float:
    return cv2.mean(cv2.morphologyEx(patch, cv2.MORPH_GRADIENT, _NEAR), ring)[0]
