"""From a mask to blobs on the board: which outlines can be bodies, where their centre is and how long they are."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from swapbell_device.camera import Luma
from swapbell_device.track import Blob
from swapbell_device.window import Window

if TYPE_CHECKING:
    from cv2.typing import MatLike

# Our choice: a small ant's body (3 x 0.8 mm) covers this much.
AREA_MIN_MM2 = 1.5
# Fewer points than this are a speck whose moments mean nothing.
OUTLINE_MIN = 6
# Our choice: what is this weak against a blob's mean difference is leg, wing, shadow or blur, not body.
CORE_SHARE = 0.7
# Our choice: a piece this small beside its blob is no part of the body's core.
PIECE_SHARE = 0.1
# A core's outline may leave its blob's by the closing that joined its pieces.
SLACK_PX = 2.0
_CLOSE = np.ones((3, 3), np.uint8)


@dataclass(frozen=True, slots=True)
class Body:
    """A blob with what the segmenter needs to know of it.

    Attributes
    ----------
    blob
        What the tracker gets.
    outline
        Its rim in the work, legs and shadow included [px].
    contrast
        Its mean difference from the background [grey levels].
    """

    blob: Blob
    outline: "MatLike"
    contrast: float


def bodies(mask: Luma, difference: Luma, window: Window, faintest: float) -> Iterator[Body]:
    """Yield what a mask shows, but for specks and for what nowhere differs by `faintest` [grey levels]."""
    least_px = AREA_MIN_MM2 / window.mm_per_px**2
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    for outline in outlines:
        if len(outline) < OUTLINE_MIN or _area_px(outline) < least_px:
            continue
        left, top, width, height = cv2.boundingRect(outline)
        where = slice(top, top + height), slice(left, left + width)
        if cv2.minMaxLoc(difference[where])[1] < faintest:
            continue
        contrast = cv2.mean(difference[where], mask[where])[0]
        pieces = _core(outline, difference[where], contrast, (left, top))
        if pieces:
            yield Body(_blob(pieces, window), outline, contrast)


def _core(outline: "MatLike", difference: Luma, contrast: float, corner: tuple[int, int]) -> "list[MatLike]":
    strong = cv2.threshold(difference, CORE_SHARE * contrast, 255, cv2.THRESH_BINARY)[1]
    strong = cv2.morphologyEx(strong, cv2.MORPH_CLOSE, _CLOSE)
    pieces, _ = cv2.findContours(strong, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE, offset=corner)
    least_px = PIECE_SHARE * _area_px(outline)
    return [p for p in pieces if cv2.contourArea(p) > 0.0 and _area_px(p) >= least_px and _is_inside(p, outline)]


def _area_px(outline: "MatLike") -> float:
    """Return the pixels that an outline holds, its own included: a polygon through their centres misses half."""
    return cv2.contourArea(outline) + 0.5 * len(outline) + 1.0


def _is_inside(piece: "MatLike", outline: "MatLike") -> bool:
    x, y = piece[0, 0].tolist()
    return cv2.pointPolygonTest(outline, (float(x), float(y)), measureDist=True) > -SLACK_PX


def _blob(pieces: "Sequence[MatLike]", window: Window) -> Blob:
    x, y, a, b, c = _moments(pieces)
    length_px = 4.0 * math.sqrt(0.5 * (a + c) + math.hypot(0.5 * (a - c), b)) + 1.0
    angle = 0.5 * math.atan2(2.0 * b, a - c)
    dx, dy = 0.5 * length_px * math.cos(angle), 0.5 * length_px * math.sin(angle)
    x_mm, y_mm = window.to_mm(x, y)
    length_mm = math.dist(window.to_mm(x - dx, y - dy), window.to_mm(x + dx, y + dy))
    outline = np.concatenate(pieces) if len(pieces) > 1 else pieces[0]
    area_mm2 = sum(map(_area_px, pieces)) * (length_mm / length_px) ** 2
    points: list[list[int]] = outline[::2, 0].tolist()
    rim_mm = tuple(window.to_mm(px, py) for px, py in points)
    return Blob(x_mm, y_mm, length_mm, area_mm2, _is_whole(outline, window), rim_mm)


def _moments(pieces: "Sequence[MatLike]") -> tuple[float, float, float, float, float]:
    """Return the centre and the central second moments per area of all pieces together [px, px^2]."""
    each = [cv2.moments(piece) for piece in pieces]
    area, x, y, xx, xy, yy = (sum(m[key] for m in each) for key in ("m00", "m10", "m01", "m20", "m11", "m02"))
    x, y = x / area, y / area
    return x, y, xx / area - x * x, xy / area - x * y, yy / area - y * y


def _is_whole(outline: "MatLike", window: Window) -> bool:
    left, top, width, height = cv2.boundingRect(outline)
    right, bottom = window.size
    return left > 0 and top > 0 and left + width < right and top + height < bottom
