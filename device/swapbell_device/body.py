"""From a mask to bodies on the board: closely at first sight and now and then, by a quick look in between."""

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

import cv2
import numpy as np

from swapbell_device.background import Plane
from swapbell_device.camera import Luma
from swapbell_device.shape import Box, Pieces, Shape, apart, cores, shape_of
from swapbell_device.track import Blob
from swapbell_device.window import Window

if TYPE_CHECKING:
    from cv2.typing import MatLike

# Our choice: a small ant's body (3 x 0.8 mm) covers about this much.
AREA_MIN_MM2 = 1.5
# Fewer points than this are a speck whose moments mean nothing.
OUTLINE_MIN = 6
# Our choice: what is this weak against a body's peak is shadow, wing or blur; a banded abdomen is stronger.
CORE_SHARE = 0.15
# Our choice: the steepest edge of a body, even behind dew, rises by at least this share of its peak within two
# pixels of the mask; a soft shadow's does not.
SHARP_MIN = 0.55
# Our choice: a body that is followed is looked at closely this often.
CLOSELY_S = 0.2
# Our choice: a followed body's outline may be this much larger than the usual before it is looked at closely again;
# so many single bodies larger than an ant tell the usual.
GROWN, SINGLES, SINGLE_MIN_MM2 = 1.2, 40, 5.0
# How a known body's place is marked: whole or cut by the image's edge; a change is worth a close look.
WHOLE, CLIPPED = 1, 2
_NEAR = np.ones((3, 3), np.uint8)
_MARGIN_PX = 3


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """A blob, and its outline in the mask, legs and shadow included [px]."""

    blob: Blob
    outline: "MatLike"


class Bodies:
    """Tells bodies from everything else that differs.

    Parameters
    ----------
    window : Window
        Where the mask lies on the board.
    """

    def __init__(self, window: Window) -> None:
        self._window = window
        self._scale = window.mm_per_px
        self._least_px = AREA_MIN_MM2 / self._scale**2
        self._known = np.zeros(window.size[::-1], np.uint8)
        self._singles: deque[tuple[float, float]] = deque(maxlen=SINGLES)
        self._usual = 0.0, 0.0
        self._closely_at_s = -math.inf
        self.soft_mm2 = 0.0

    def restart(self) -> None:
        """Begin anew in time, with all that was learnt."""
        self._closely_at_s = -math.inf

    def find(self, mask: Luma, thin: Luma, ground: Plane, faintest: float, at_s: float) -> list[Body]:
        """Return the bodies of a mask.

        Parameters
        ----------
        mask, thin : Luma
            Where the frame differs, and by how much [grey levels].
        ground : Plane
            How much bodies can differ at each place, as a share of usual ground.
        faintest : float
            What a body on usual ground differs by at least once [grey levels].
        at_s : float
            When [s].
        """
        close = at_s - self._closely_at_s >= CLOSELY_S
        if close:
            self._closely_at_s = at_s
            self._learn_usual()
        most_px, widest = (0.0, 0.0) if close else self._usual
        self.soft_mm2 = 0.0
        known, self._known = self._known, np.zeros_like(self._known)
        found: list[Body] = []
        for outline, shape, box, share in self._candidates(mask, thin, ground, faintest):
            mark = CLIPPED if self._is_clipped(box) else WHOLE
            if shape.area < most_px and shape.wide < widest and known[int(shape.y), int(shape.x)] == mark:
                blobs = [self._blob(shape, shape.area, box, 0.0, measured=False)]
            else:
                blobs = self._closely(outline, shape, box, thin, share, faintest)
            if len(blobs) == 1:
                left, top, width, height = box
                self._known[max(0, top - 1) : top + height + 1, max(0, left - 1) : left + width + 1] = mark
            found.extend([Body(blob, outline) for blob in blobs])
        return found

    def _learn_usual(self) -> None:
        if self._singles:
            areas, widths = zip(*self._singles, strict=True)
            self._usual = GROWN * median(areas), GROWN * median(widths)

    def _candidates(
        self, mask: Luma, thin: Luma, ground: Plane, faintest: float
    ) -> "Iterator[tuple[MatLike, Shape, Box, float]]":
        for outline in cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]:
            shape = shape_of([outline]) if len(outline) >= OUTLINE_MIN else None
            if shape is None or shape.area < self._least_px:
                continue
            left, top, width, height = cv2.boundingRect(outline)
            share = float(ground[int(shape.y), int(shape.x)])
            if cv2.minMaxLoc(thin[top : top + height, left : left + width])[1] >= faintest * share:
                yield outline, shape, (left, top, width, height), share

    def _closely(
        self, outline: "MatLike", shape: Shape, box: Box, thin: Luma, ground: float, faintest: float
    ) -> list[Blob]:
        corner, own = _own(outline, box, thin)
        peak = cv2.minMaxLoc(own)[1]
        found = cores(own, CORE_SHARE * peak, self._least_px, self._scale, corner)
        if not found:
            return (
                [self._blob(shape, shape.area, box, _even(peak, ground, faintest), measured=True)]
                if self._is_sharp(thin, box, peak)
                else []
            )
        parts = [part for pieces in found for part in apart(pieces, own, peak, self._least_px, self._scale, corner)]
        if len(parts) == 1 and not parts[0].shape.is_stout() and shape.area * self._scale**2 > SINGLE_MIN_MM2:
            self._singles.append((shape.area, shape.wide))
        share = shape.area / sum(part.shape.area for part in parts)
        blobs = (self._part(part, box, thin, share, ground, faintest) for part in parts)
        return [blob for blob in blobs if blob is not None]

    def _part(
        self, part: Pieces, whole: Box, thin: Luma, share: float, ground: float, faintest: float
    ) -> Blob | None:
        box = left, top, width, height = part.box()
        peak = cv2.minMaxLoc(thin[top : top + height, left : left + width])[1]
        if peak < faintest * ground or not self._is_sharp(thin, box, peak):
            return None
        strong = cv2.threshold(thin[top : top + height, left : left + width], 0.5 * peak, 255, cv2.THRESH_BINARY)[1]
        solid = cv2.countNonZero(strong) / part.shape.area
        return self._blob(
            part.shape, part.shape.area * share, whole, _even(peak, ground, faintest), part.single, solid
        )

    def _blob(self, shape: Shape, area_px: float, box: Box, peak: float, measured: bool, solid: float = 0.0) -> Blob:
        x_mm, y_mm, scale = self._window.place(shape.x, shape.y)
        size = shape.long * scale, area_px * scale * scale
        whole = not self._is_clipped(box)
        return Blob(x_mm, y_mm, *size, whole, peak, shape.wide * scale, shape.angle, measured, solid)

    def _is_clipped(self, box: Box) -> bool:
        left, top, width, height = box
        right, bottom = self._window.size
        return left <= 1 or top <= 1 or left + width >= right - 1 or top + height >= bottom - 1

    def _is_sharp(self, thin: Luma, box: Box, peak: float) -> bool:
        left, top, width, height = box
        patch = thin[max(0, top - 1) : top + height + 1, max(0, left - 1) : left + width + 1]
        sharp = cv2.minMaxLoc(cv2.morphologyEx(patch, cv2.MORPH_GRADIENT, _NEAR))[1] >= SHARP_MIN * peak
        self.soft_mm2 += 0.0 if sharp else width * height * self._scale**2
        return sharp


def _even(peak: float, ground: float, faintest: float) -> float:
    """Return what a body would differ by on usual ground; what ground adds ends well above the faintest body."""
    return max(peak, min(peak / ground, 2.0 * faintest))


def _own(outline: "MatLike", box: Box, thin: Luma) -> tuple[tuple[int, int], Luma]:
    """Return the patch around an outline with everything else dark, and its corner."""
    left, top, width, height = box
    x, y = max(0, left - _MARGIN_PX), max(0, top - _MARGIN_PX)
    patch = thin[y : top + height + _MARGIN_PX, x : left + width + _MARGIN_PX]
    inside = np.zeros_like(patch)
    cv2.drawContours(inside, [outline], 0, 255, -1, offset=(-x, -y))
    return (x, y), np.asarray(cv2.bitwise_and(patch, cv2.dilate(inside, _NEAR)), np.uint8)
