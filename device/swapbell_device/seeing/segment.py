"""From a frame to the blobs in it."""

import math
from collections.abc import Sequence

import cv2
import numpy as np

from swapbell_device.camera import Frame, Luma
from swapbell_device.following.track import Blob
from swapbell_device.seeing import ghost
from swapbell_device.seeing.background import Background
from swapbell_device.seeing.body import Bodies, Body
from swapbell_device.seeing.closely import AREA_MIN_MM2, Sight
from swapbell_device.seeing.contrast import Contrast
from swapbell_device.seeing.glance import Glance
from swapbell_device.seeing.rest import Rest
from swapbell_device.seeing.shower import Shower
from swapbell_device.seeing.veto import Veto
from swapbell_device.seeing.window import Window

# Our choice: how often light and background follow.
RELIGHT_S, RELIGHT_CALM_S, RENEW_S = 0.06, 0.25, 0.7
# Our choice: how long a glance is enough as long as it shows nothing new: with nobody there, and with somebody.
EMPTY_S, KNOWN_S = 3.0, 0.1
# Our choice: when the difference covers so much more of the view at once, the light is looked after at once.
COVERED_SHARE = 0.08
# Our choice: this many frames of the opening tell the median; more cost time and tell no more.
OPENING_FRAMES = 25
# Our choice: so many frames that follow one another tell whether it rains.
OPENING_SHOWER = 12
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
        self._veto, self._bodies, self._rest = Veto(window, self._ground), Bodies(window), Rest()
        self._contrast = Contrast(self._ground.bar.shape)
        broad = max(3, round(BROAD_MM / window.mm_per_px))
        self._broad = np.ones((broad, broad), np.uint8)
        self._work_difference: Luma = np.zeros_like(self._ground.shown)
        self.mask: Luma = np.zeros_like(self._ground.bar)
        self.difference: Luma = np.zeros_like(self._ground.bar)
        self._covered_px = 0
        self._light_wait_s, self._enough_s = RELIGHT_S, 0.0
        self._lit_at_s = self._renewed_at_s = self._looked_at_s = self._restless_until_s = -math.inf
        self._learn(sample)

    def _learn(self, sample: Sequence[Frame]) -> None:
        """Work on the opening for what it teaches, and begin anew in time."""
        for frame in sample:
            self._work_on(self._window.cut(frame.image), frame.at_s)
        self._lit_at_s, self._renewed_at_s = -math.inf, sample[0].at_s
        self._bodies.restart()
        self._contrast.restart(sample[0].at_s)
        self._veto, self._rest = Veto(self._window, self._ground), Rest()

    @property
    def covered(self) -> bool:
        """Whether something larger than an insect is in the view, or was a moment ago: nothing is counted then."""
        return self._veto.acts

    def blobs(self, frame: Frame) -> list[Blob] | None:
        """Return what may be bodies; None if a glance shows nothing that was not there at the last look."""
        view = self._window.view(frame.image)
        if frame.at_s - self._looked_at_s < self._enough_s and self._glance.shows_nothing_new(view):
            return None
        self._looked_at_s = frame.at_s
        work = self._shower.clear(self._window.cut_for_now(frame.image), self._ground.bar, self.mask, frame.at_s)
        found = self._work_on(work, frame.at_s)
        self._enough_s = 0.0 if self._veto.acts else KNOWN_S if found else EMPTY_S
        self._glance.know(self.mask, view)
        if self._renewed_at_s == frame.at_s:
            self._glance.learn(view)
        return [body.blob for body in found]

    def _work_on(self, work: Luma, at_s: float) -> list[Body]:
        self._compare_in_light(work, at_s)
        outlines = cv2.findContours(self.mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
        if self._veto.holds(self.mask, outlines, work, at_s):
            return []
        sight = Sight(self.difference, self._contrast.share, self._contrast.faintest)
        found = self._bodies.find(outlines, sight, at_s)
        self._contrast.tell(found, at_s)
        if self._bodies.soft_mm2 > RESTLESS_MM2:
            self._restless_until_s = at_s + RESTLESS_S
        if at_s - self._renewed_at_s >= RENEW_S:
            self._renew(work, found, at_s)
        return found

    def _compare_in_light(self, work: Luma, at_s: float) -> None:
        """Set difference and mask; look after the light now and then, at once if much more of the view differs."""
        self._compare(work, at_s, self._light_wait_s)
        covered_px = cv2.countNonZero(self.mask)
        if self._lit_at_s < at_s and covered_px > self._covered_px + COVERED_SHARE * self.mask.size:
            self._compare(work, at_s, 0.0)
            covered_px = cv2.countNonZero(self.mask)
        self._covered_px = covered_px

    def _compare(self, work: Luma, at_s: float, wait_s: float) -> None:
        if at_s - self._lit_at_s >= wait_s:
            self._lit_at_s = at_s
            self._light_wait_s = RELIGHT_S if self._ground.relight(work) else RELIGHT_CALM_S
        cv2.absdiff(work, self._ground.shown, self._work_difference)
        self.difference = self._window.thin(self._work_difference)
        if at_s < self._restless_until_s:
            narrow = cv2.morphologyEx(self.difference, cv2.MORPH_TOPHAT, self._broad)
            self.difference = np.asarray(narrow, np.uint8)
        cv2.compare(self.difference, self._ground.bar, cv2.CMP_GT, self.mask)

    def _renew(self, work: Luma, found: Sequence[Body], at_s: float) -> None:
        step_s = min(at_s - self._renewed_at_s, 2.0 * RENEW_S)
        self._renewed_at_s = at_s
        if doubtful := self._rest.doubtful(found):
            zoom = 1 + self._window.coarse
            boxes = [tuple(zoom * side for side in cv2.boundingRect(body.outline)) for body in doubtful]
            ghost.mend(work, self._ground, boxes, AREA_MIN_MM2 * (zoom / self._window.mm_per_px) ** 2)
        bodies = np.zeros_like(self.mask)
        cv2.drawContours(bodies, [body.outline for body in found], -1, 255, -1)
        self._ground.renew(work, self.difference, bodies, step_s)
        self._contrast.measure(self._ground.shown, at_s)
        self._ground.raise_bar(self._contrast.worth)
