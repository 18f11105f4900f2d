"""A close look at one outline: its bodies without legs, wings and shadow, how strongly and sharply they differ."""

from collections import deque
from typing import TYPE_CHECKING

import cv2
import msgspec
import numpy as np
from msgspec.structs import replace

from swapbell_device.camera import Luma
from swapbell_device.following.track import Blob
from swapbell_device.seeing.background import Plane
from swapbell_device.seeing.shape import Box, Pieces, Shape, cores
from swapbell_device.seeing.touching import LONG_MM, SOLID_SHARE, Patch, Usual, apart, in_step, usual
from swapbell_device.seeing.window import Window

if TYPE_CHECKING:
    from cv2.typing import MatLike

# Our choice: a small ant's body (3 x 0.8 mm) covers about this much.
AREA_MIN_MM2 = 1.5
# Our choice: what is this weak against a body's peak is shadow, wing or blur; a banded abdomen is stronger.
CORE_SHARE = 0.15
# Our choice: the steepest edge of a body, even behind dew, rises by at least this share of its peak within two
# pixels of the mask; a soft shadow's does not.
SHARP_MIN = 0.55
# Our choice: so many single bodies larger than an ant tell the usual one; this much larger may be two.
SINGLES, SINGLE_MIN_MM2, GROWN = 40, 5.0, 1.2
_NEAR = np.ones((3, 3), np.uint8)
_MARGIN_PX = 3


class Sight(msgspec.Struct, frozen=True, eq=False):
    """What a frame shows.

    Attributes
    ----------
    thin
        By how much it differs, at the mask's scale [grey levels].
    ground
        How much bodies can differ at each place, as a share of usual ground.
    faintest
        What a body on usual ground differs by at least once [grey levels].
    """

    thin: Luma
    ground: Plane
    faintest: float


class _Whole(msgspec.Struct, frozen=True, eq=False):
    """One outline: its box in the mask, its sight, its ground, and by how much it is larger than its bodies."""

    box: Box
    sight: Sight
    ground: float
    grown: float = 1.0

    def is_faint(self, peak: float) -> bool:
        return peak < self.sight.faintest * self.ground

    def even(self, peak: float) -> float:
        """Return what a body would differ by on usual ground; what ground adds ends well above the faintest body."""
        return max(peak, min(peak / self.ground, 2.0 * self.sight.faintest))


class CloseLook:
    """Looks at outlines closely, and learns from them what a single body usually is.

    Parameters
    ----------
    window : Window
        Where the mask lies on the board.
    """

    def __init__(self, window: Window) -> None:
        self._window = window
        self._scale = window.mm_per_px
        self.least_px = AREA_MIN_MM2 / self._scale**2
        self._outlines: deque[Shape] = deque(maxlen=SINGLES)
        self._bodies: deque[Shape] = deque(maxlen=SINGLES)
        self._usual_outline = self._usual_body = Usual()
        self._seen = self._learnt = 0
        self.soft_mm2 = 0.0

    def is_usual(self, shape: Shape) -> bool:
        """Tell whether an outline is no larger than a single body's."""
        return shape.area < GROWN * self._usual_outline.area and shape.wide < GROWN * self._usual_outline.wide

    def learn(self) -> None:
        """Let the singles seen so far tell the usual one."""
        if self._learnt < self._seen:
            self._learnt = self._seen
            self._usual_outline, self._usual_body = usual(self._outlines), usual(self._bodies)

    def blobs(self, outline: "MatLike", shape: Shape, box: Box, sight: Sight) -> list[Blob]:
        """Return the bodies in an outline of that shape and box [px of the mask]."""
        whole = _Whole(box, sight, float(sight.ground[int(shape.y), int(shape.x)]))
        if whole.is_faint(_peak(box, sight.thin)):
            return []
        patch = _patch(outline, box, sight.thin)
        found = cores(patch.difference, CORE_SHARE * patch.peak, self.least_px, self._scale, patch.corner)
        if not found:
            sharp = self._is_sharp(box, sight.thin, patch.peak)
            return [self._blob(shape, whole, patch.peak)] if sharp else []
        parts = [part for one in found for part in apart(one, patch, self.least_px, self._scale)]
        if len(parts) == 1 and self._is_single(shape):
            self._outlines.append(shape)
            self._bodies.append(parts[0].shape)
            self._seen += 1
        whole = replace(whole, grown=shape.area / sum(part.shape.area for part in parts))
        blobs = ((part, self._part(part, whole)) for part in parts)
        return [self._with_parts(part, blob, patch, whole) for part, blob in blobs if blob is not None]

    def _is_single(self, shape: Shape) -> bool:
        large = shape.area * self._scale**2 > SINGLE_MIN_MM2
        return large and not shape.is_stout() and shape.long * self._scale < LONG_MM

    def _with_parts(self, part: Pieces, blob: Blob, patch: Patch, whole: _Whole) -> Blob:
        if blob.solid < SOLID_SHARE:
            return blob
        several = in_step(part.shape, patch, self._usual_body, self._scale)
        parts = [found for one in several if (found := self._part(one, whole)) is not None]
        return replace(blob, parts=tuple(parts)) if len(parts) > 1 else blob

    def _part(self, part: Pieces, whole: _Whole) -> Blob | None:
        box, thin = part.box(), whole.sight.thin
        peak = _peak(box, thin)
        if whole.is_faint(peak) or not self._is_sharp(box, thin, peak):
            return None
        left, top, width, height = box
        strong = cv2.threshold(thin[top : top + height, left : left + width], 0.5 * peak, 255, cv2.THRESH_BINARY)[1]
        blob = self._blob(part.shape, whole, peak)
        return replace(blob, measured=part.single, solid=cv2.countNonZero(strong) / part.shape.area)

    def _blob(self, shape: Shape, whole: _Whole, peak: float) -> Blob:
        laid = self._window.lay(shape)
        uncut = not self._window.cuts(whole.box)
        size = laid.long, laid.area * whole.grown
        return Blob(laid.x, laid.y, *size, uncut, whole.even(peak), laid.wide, laid.angle)

    def _is_sharp(self, box: Box, thin: Luma, peak: float) -> bool:
        left, top, width, height = box
        patch = thin[max(0, top - 1) : top + height + 1, max(0, left - 1) : left + width + 1]
        sharp = cv2.minMaxLoc(cv2.morphologyEx(patch, cv2.MORPH_GRADIENT, _NEAR))[1] >= SHARP_MIN * peak
        self.soft_mm2 += 0.0 if sharp else width * height * self._scale**2
        return sharp


def _peak(box: Box, thin: Luma) -> float:
    left, top, width, height = box
    return cv2.minMaxLoc(thin[top : top + height, left : left + width])[1]


def _patch(outline: "MatLike", box: Box, thin: Luma) -> Patch:
    """Return the patch around an outline with everything else dark."""
    left, top, width, height = box
    x, y = max(0, left - _MARGIN_PX), max(0, top - _MARGIN_PX)
    around = thin[y : top + height + _MARGIN_PX, x : left + width + _MARGIN_PX]
    inside = np.zeros_like(around)
    cv2.drawContours(inside, [outline], 0, 255, -1, offset=(-x, -y))
    own = np.asarray(cv2.bitwise_and(around, cv2.dilate(inside, _NEAR)), np.uint8)
    return Patch(own, cv2.minMaxLoc(own)[1], (x, y))
