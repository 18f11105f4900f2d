"""From a frame to the blobs in it."""

import math
from collections import deque
from collections.abc import Sequence
from statistics import median

import cv2
import numpy as np

from swapbell_device import ghost
from swapbell_device.background import Background, Plane
from swapbell_device.body import Bodies, Body
from swapbell_device.camera import Frame, Luma
from swapbell_device.closely import AREA_MIN_MM2, Sight
from swapbell_device.glance import Glance
from swapbell_device.shower import Shower
from swapbell_device.track import Blob
from swapbell_device.veto import Veto
from swapbell_device.window import Window

# Our choice: how often light and background follow.
RELIGHT_S, RELIGHT_CALM_S, RENEW_S, MEASURE_S = 0.06, 0.25, 0.7, 2.1
# Our choice: what has moved less than this since the last renewal stands still; for so many renewals, and then every
# so many, it may be a ghost.
STILL_MM, STILL_RENEWALS, STILL_AGAIN = 1.0, 4, 8
# Our choice: how long a glance is enough as long as it shows nothing new: with nobody there, and with somebody.
EMPTY_S, KNOWN_S = 2.0, 0.1
# Our choice: when the difference covers so much more of the view at once, the light is looked after at once.
COVERED_SHARE = 0.08
# Our choice: this many frames of the opening tell the median; more cost time and tell no more.
OPENING_FRAMES = 25
# Our choice: so many frames that follow one another tell whether it rains.
OPENING_SHOWER = 12
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

    Attributes
    ----------
    difference, mask
        By how much the last frame that was looked at differs [grey levels], and where by more than the noise.
    """

    def __init__(self, window: Window, opening: Sequence[Frame]) -> None:
        cv2.setNumThreads(1)
        self._window = window
        sample = opening[:: max(1, len(opening) // OPENING_FRAMES)]
        self._ground = Background([window.cut(frame.image) for frame in sample], window.thin)
        self._glance = Glance([window.view(frame.image) for frame in sample], window.mm_per_px / window.step)
        self._shower = Shower(window)
        self._shower.begin([window.cut(frame.image) for frame in opening[:OPENING_SHOWER]], self._ground.bar)
        self._veto = Veto(window, self._ground)
        self._bodies = Bodies(window)
        self._contrasts: deque[float] = deque(maxlen=CONTRASTS)
        self._contrast = 0.0
        self._grounds: deque[float] = deque(maxlen=CONTRASTS)
        self._share: Plane = np.ones(self._ground.bar.shape, np.float32)
        self._ground_level: Plane = np.zeros_like(self._share)
        self._difference: Luma = np.zeros_like(self._ground.shown)
        self.mask: Luma = np.zeros_like(self._ground.bar)
        self.difference: Luma = np.zeros_like(self._ground.bar)
        self._covered_px = 0
        self._spots: list[tuple[float, float, int]] = []
        self._restless_until_s = -math.inf
        self._light_wait_s = RELIGHT_S
        broad = max(3, round(BROAD_MM / window.mm_per_px))
        self._broad = np.ones((broad, broad), np.uint8)
        self._lit_at_s = self._told_at_s = self._renewed_at_s = self._measured_at_s = -math.inf
        for frame in sample:
            self._work_on(window.cut(frame.image), frame.at_s)
        self._lit_at_s = self._told_at_s = self._renewed_at_s = self._measured_at_s = opening[0].at_s
        self._bodies.restart()
        self._looked_at_s = -math.inf
        self._enough_s = 0.0

    def blobs(self, frame: Frame) -> list[Blob] | None:
        """Return what may be bodies; None if a glance shows nothing that was not there at the last look."""
        view = self._window.view(frame.image)
        if frame.at_s - self._looked_at_s < self._enough_s and self._glance.shows_nothing_new(view):
            return None
        self._looked_at_s = frame.at_s
        work = self._shower.clear(self._window.cut_for_now(frame.image), self._ground.bar, self.mask, frame.at_s)
        found = self._work_on(work, frame.at_s)
        self._enough_s = 0.0 if self._veto.acts else KNOWN_S if found else EMPTY_S
        self._glance.know(self.mask)
        self._glance.trust(view)
        if self._renewed_at_s == frame.at_s:
            self._glance.learn(view)
        return [body.blob for body in found]

    def _work_on(self, work: Luma, at_s: float) -> list[Body]:
        thin = self._compare(work, at_s, self._light_wait_s)
        covered_px = cv2.countNonZero(self.mask)
        if self._lit_at_s < at_s and covered_px > self._covered_px + COVERED_SHARE * self.mask.size:
            thin = self._compare(work, at_s, 0.0)
            covered_px = cv2.countNonZero(self.mask)
        self._covered_px = covered_px
        outlines = cv2.findContours(self.mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
        if self._veto.holds(self.mask, outlines, work, at_s):
            return []
        found = self._bodies.find(outlines, Sight(thin, self._share, BODY_SHARE * self._contrast), at_s)
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
        self.difference = thin
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
        if still := self._still(found):
            zoom = 1 + self._window.coarse
            boxes = [tuple(zoom * side for side in cv2.boundingRect(body.outline)) for body in still]
            ghost.mend(work, self._ground, boxes, AREA_MIN_MM2 * (zoom / self._window.mm_per_px) ** 2)
        mask = np.zeros_like(self.mask)
        cv2.drawContours(mask, [body.outline for body in found], -1, 255, -1)
        self._ground.renew(work, thin, mask, step_s)
        if at_s - self._measured_at_s >= MEASURE_S:
            self._measured_at_s = at_s
            self._measure_ground()
        self._ground.raise_bar(WORTH_SHARE * self._contrast * self._share)

    def _still(self, found: Sequence[Body]) -> list[Body]:
        """Return the bodies that have lately come to a stand: only these can be ghosts, and a few looks tell."""
        before, self._spots = self._spots, []
        for body in found:
            x, y = body.blob.x_mm, body.blob.y_mm
            rests = max((n for x0, y0, n in before if math.hypot(x - x0, y - y0) < STILL_MM), default=0)
            self._spots.append((x, y, rests + 1))
        pairs = zip(found, self._spots, strict=True)
        return [body for body, (_, _, n) in pairs if 1 < n <= STILL_RENEWALS or n % STILL_AGAIN == 0]

    def _measure_ground(self) -> None:
        """Set how much bodies can differ, place by place: on dark ground, as in a hole, nothing differs much."""
        height, width = self.mask.shape
        ground = cv2.resize(self._ground.shown, (width, height), interpolation=cv2.INTER_AREA).astype(np.float32)
        if self._grounds:
            usual = max(1.0, median(self._grounds))
            self._share = np.clip(ground / np.float32(usual), DARKEST_SHARE, 1.0)
        self._ground_level = ground
