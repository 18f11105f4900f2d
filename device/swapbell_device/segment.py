"""From a frame to the blobs in it."""

from collections import deque
from collections.abc import Sequence
from statistics import median

import cv2
import numpy as np

from swapbell_device import ghost
from swapbell_device.background import BAR_MIN, Background
from swapbell_device.body import AREA_MIN_MM2, Body, bodies
from swapbell_device.camera import Frame, Luma
from swapbell_device.track import Blob
from swapbell_device.window import Window

# Our choice: how often the background follows.
RENEW_S = 0.25
# Our choice: this many frames of the opening tell the median; more cost time and tell no more.
OPENING_FRAMES = 25
# Our choice: how many bodies' contrasts are remembered, and what share of their median is worth seeing at all
# (legs, shadows), and at least once in a blob (a leg alone, a flutter).
CONTRASTS = 60
WORTH_SHARE = 0.2
BODY_SHARE = 0.6
# Our choice: bodies of these areas tell the contrast; smaller ones are often specks, larger ones often hands.
TELLING_MM2 = (8.0, 300.0)


class Segmenter:
    """Finds what differs from the background by more than the noise.

    Parameters
    ----------
    window : Window
        The part of the view to work on.
    opening : sequence of Frame
        The first frames, to learn the background from; they may hold bodies.
    """

    def __init__(self, window: Window, opening: Sequence[Frame]) -> None:
        cv2.setNumThreads(1)
        self._window = window
        sample = opening[:: max(1, len(opening) // OPENING_FRAMES)]
        self._ground = Background([window.cut(frame.image) for frame in sample])
        self._renewed_at_s = opening[0].at_s
        self._contrasts: deque[float] = deque(maxlen=CONTRASTS)
        self.mask: Luma = np.zeros_like(self._ground.shown)
        self._difference: Luma = np.zeros_like(self.mask)

    def blobs(self, frame: Frame) -> list[Blob]:
        """Return what may be bodies."""
        work = self._window.cut(frame.image)
        self._ground.relight(work)
        cv2.absdiff(work, self._ground.shown, self._difference)
        cv2.compare(self._difference, self._ground.bar, cv2.CMP_GT, self.mask)
        found = list(bodies(self.mask, self._difference, self._window, BODY_SHARE * self._contrast()))
        step_s = frame.at_s - self._renewed_at_s
        if step_s >= RENEW_S:
            self._renewed_at_s = frame.at_s
            self._renew(work, found, step_s)
        return [body.blob for body in found]

    def _renew(self, work: Luma, found: Sequence[Body], step_s: float) -> None:
        least_mm2, most_mm2 = TELLING_MM2
        self._contrasts.extend(body.contrast for body in found if least_mm2 < body.blob.area_mm2 < most_mm2)
        ghost.mend(work, self._ground, AREA_MIN_MM2 / self._window.mm_per_px**2)
        mask = np.zeros_like(self.mask)
        cv2.drawContours(mask, [body.outline for body in found], -1, 255, -1)
        self._ground.renew(work, mask, step_s)
        self._ground.raise_bar(max(BAR_MIN, WORTH_SHARE * self._contrast()))

    def _contrast(self) -> float:
        return median(self._contrasts) if self._contrasts else 0.0
