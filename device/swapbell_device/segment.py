"""From a frame to the blobs in it."""

import math
from collections import deque
from collections.abc import Sequence
from statistics import median

import cv2
import numpy as np

from swapbell_device import ghost
from swapbell_device.background import Background, Plane
from swapbell_device.body import AREA_MIN_MM2, Bodies, Body
from swapbell_device.camera import Frame, Luma
from swapbell_device.idle import Idle
from swapbell_device.track import Blob
from swapbell_device.veto import Veto
from swapbell_device.window import Window

# Our choice: how often light and background follow.
RELIGHT_S, RELIGHT_CALM_S, RENEW_S = 0.06, 0.12, 0.5
# Our choice: when the difference covers this much of the view, the light is looked after at once.
COVERED_SHARE = 0.08
# Our choice: this many frames of the opening tell the median; more cost time and tell no more.
OPENING_FRAMES = 25
# Our choice: how many bodies' contrasts are remembered, and what share of the usual one is worth seeing at
# all, and at least once in a body (a leg alone, a wing, a shadow is weaker).
CONTRASTS, USUAL = 60, 0.6
WORTH_SHARE, BODY_SHARE = 0.12, 0.4
# Our choice: however dark the ground, a body differs by this share of what bodies usually do.
DARKEST_SHARE = 0.1
# Our choice: bodies of these areas tell the contrast; smaller ones are often specks, larger ones often hands.
TELLING_MM2 = (8.0, 300.0)
# Our choice: how often they tell it.
TELL_S = 0.1
# Our choice: where soft-edged differences cover this much, leaf shadows move; for so long then, what is broader than
# a wasp is taken away from the difference.
RESTLESS_MM2, RESTLESS_S, BROAD_MM = 80.0, 5.0, 7.0


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
        self._ground = Background([window.cut(frame.image) for frame in sample], window.thin)
        self._idle = Idle(window.view(opening[0].image), window.mm_per_px / window.step)
        self._veto = Veto(window, self._ground)
        self._bodies = Bodies(window)
        self._contrasts: deque[float] = deque(maxlen=CONTRASTS)
        self._contrast = 0.0
        self._grounds: deque[float] = deque(maxlen=CONTRASTS)
        self._share: Plane = np.ones(self._ground.bar.shape, np.float32)
        self._ground_level: Plane = np.zeros_like(self._share)
        self._difference: Luma = np.zeros_like(self._ground.shown)
        self.mask: Luma = np.zeros_like(self._ground.bar)
        self._restless_until_s = -math.inf
        self._light_wait_s = RELIGHT_S
        broad = max(3, round(BROAD_MM / window.mm_per_px))
        self._broad = np.ones((broad, broad), np.uint8)
        self._lit_at_s = self._told_at_s = self._renewed_at_s = -math.inf
        for frame in sample:
            self._work_on(frame)
        self._lit_at_s = self._told_at_s = self._renewed_at_s = opening[0].at_s
        self._bodies.restart()
        self._quiet = False

    def blobs(self, frame: Frame) -> list[Blob]:
        """Return what may be bodies."""
        view = self._window.view(frame.image)
        if self._quiet and frame.at_s - self._renewed_at_s < RENEW_S and self._idle.holds(view):
            return []
        found = self._work_on(frame)
        self._quiet = not found
        if self._quiet and self._renewed_at_s == frame.at_s:
            self._idle.learn(view)
        return [body.blob for body in found]

    def _work_on(self, frame: Frame) -> list[Body]:
        work, at_s = self._window.cut(frame.image), frame.at_s
        thin = self._compare(work, at_s, self._light_wait_s)
        if self._lit_at_s < at_s and cv2.countNonZero(self.mask) > COVERED_SHARE * self.mask.size:
            thin = self._compare(work, at_s, 0.0)
        if self._veto.holds(self.mask, work, at_s):
            return []
        found = self._bodies.find(self.mask, thin, self._share, BODY_SHARE * self._contrast, at_s)
        self._tell(found, at_s)
        if self._bodies.soft_mm2 > RESTLESS_MM2:
            self._restless_until_s = at_s + RESTLESS_S
        if at_s - self._renewed_at_s >= RENEW_S:
            self._renew(work, thin, found, at_s)
        return found

    def _compare(self, work: Luma, at_s: float, wait_s: float) -> Luma:
        """Return the difference at the mask's scale, and set the mask; look after the light first if it is time."""
        if at_s - self._lit_at_s >= wait_s:
            self._lit_at_s = at_s
            self._light_wait_s = RELIGHT_S if self._ground.relight(work) else RELIGHT_CALM_S
        cv2.absdiff(work, self._ground.shown, self._difference)
        thin = self._window.thin(self._difference)
        if at_s < self._restless_until_s:
            thin = np.asarray(cv2.morphologyEx(thin, cv2.MORPH_TOPHAT, self._broad), np.uint8)
        cv2.compare(thin, self._ground.bar, cv2.CMP_GT, self.mask)
        return thin

    def _tell(self, found: Sequence[Body], at_s: float) -> None:
        if found and at_s - self._told_at_s >= TELL_S:
            self._told_at_s = at_s
            least_mm2, most_mm2 = TELLING_MM2
            seen = (body.blob for body in found)
            self._contrasts.extend(b.contrast for b in seen if b.contrast and least_mm2 < b.area_mm2 < most_mm2)
            self._grounds.extend(self._level_below(body) for body in found)
            ranked = sorted(self._contrasts)
            self._contrast = ranked[int(USUAL * len(ranked))] if ranked else 0.0

    def _level_below(self, body: Body) -> float:
        x, y = body.outline[0, 0].tolist()
        return float(self._ground_level[y, x])

    def _renew(self, work: Luma, thin: Luma, found: Sequence[Body], at_s: float) -> None:
        step_s = min(at_s - self._renewed_at_s, 2.0 * RENEW_S)
        self._renewed_at_s = at_s
        if found:
            zoom = 1 + self._window.coarse
            boxes = [tuple(zoom * side for side in cv2.boundingRect(body.outline)) for body in found]
            ghost.mend(work, self._ground, boxes, AREA_MIN_MM2 * (zoom / self._window.mm_per_px) ** 2)
        mask = np.zeros_like(self.mask)
        cv2.drawContours(mask, [body.outline for body in found], -1, 255, -1)
        self._ground.renew(work, thin, mask, step_s)
        self._measure_ground()
        self._ground.raise_bar(WORTH_SHARE * self._contrast * self._share)

    def _measure_ground(self) -> None:
        """Set how much bodies can differ, place by place: on dark ground, as in a hole, nothing differs much."""
        height, width = self.mask.shape
        ground = cv2.resize(self._ground.shown, (width, height), interpolation=cv2.INTER_AREA).astype(np.float32)
        if self._grounds:
            usual = max(1.0, median(self._grounds))
            self._share = np.clip(ground / np.float32(usual), DARKEST_SHARE, 1.0)
        self._ground_level = ground
