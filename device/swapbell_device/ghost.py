"""Ghosts: places where the background, not the frame, holds a body that has left.

A body has edges where it is. If the outline of a difference runs along edges of the background rather than of the
frame, what stood there has gone, and the background is mended at once. It works for dark and bright bodies alike.
"""

from typing import TYPE_CHECKING

import cv2
import numpy as np

from swapbell_device.background import Background
from swapbell_device.camera import Luma

if TYPE_CHECKING:
    from collections.abc import Sequence

    from cv2.typing import MatLike

# Our choice: the background's edges must be this much stronger than the frame's, and by this many grey levels.
EDGE_RATIO, EDGE_STEP = 1.5, 4.0
# The outline lies between the two pixels whose difference makes the edge.
RING_PX = 3
# What is mended reaches this far beyond the outline: a body's rim is blurred.
RIM_PX = 2
_NEAR = np.ones((3, 3), np.uint8)


def mend(work: Luma, ground: Background, least_px: float) -> None:
    """Mend every ghost of at least that area [px of the work]."""
    outlines = [*_outlines(work, ground.shown, ground.bar), *_outlines(ground.shown, work, ground.bar)]
    ghosts = [o for o in outlines if cv2.contourArea(o) >= least_px and _is_ghost(o, work, ground.shown)]
    if ghosts:
        mask = np.zeros_like(work)
        cv2.drawContours(mask, ghosts, -1, 255, -1)
        ground.mend(work, cv2.dilate(mask, _NEAR, iterations=RIM_PX))


def _outlines(brighter: Luma, darker: Luma, bar: Luma) -> "Sequence[MatLike]":
    bar = np.asarray(cv2.resize(bar, brighter.shape[::-1], interpolation=cv2.INTER_NEAREST), np.uint8)
    over = cv2.compare(cv2.subtract(brighter, darker), bar, cv2.CMP_GT)
    over = cv2.morphologyEx(over, cv2.MORPH_OPEN, _NEAR)
    return cv2.findContours(over, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]


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
