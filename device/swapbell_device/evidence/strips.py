"""A strip of pictures for each crossing: the body before the line, on it and beyond it.

Every picture is turned so that the line stands upright in its middle and the station lies to the right: who goes in,
goes from left to right. A person sees at a glance whether an insect passed in the direction that was counted.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

import cv2
import numpy as np

from swapbell_device.camera import Luma
from swapbell_device.evidence.clerk import Clerk
from swapbell_device.evidence.ring import REACH_MM, Ring
from swapbell_device.evidence.store import Store
from swapbell_device.moment import Moment
from swapbell_device.stationfile import StationFile
from swapbell_models.evidence import Label, Passing
from swapbell_models.optics import Point
from swapbell_models.tally import Crossing

# Our choice: half and whole of the time that the body took to get clear of the line, before the passing and after.
SHARES = (-1.0, -0.5, 0.0, 0.5, 1.0)
# Our choice: one picture shows this many body lengths to either side of the line, and no less than a wasp's.
LENGTHS, LEAST_MM = 1.25, 16.0
PICTURE_PX, GAP_PX, TICK_PX = 112, 2, 7
# Our choice: hairs and wings are still to be seen, at some 7 kB a strip.
QUALITY = 80
WHITE, BLACK = 255, 0
# Our choice: 300 strips an hour; the rule's ten visits in five minutes, in and out again, take 240.
PER_MIN, BURST = 5.0, 30.0
MINUTE_S = 60.0


@dataclass(slots=True)
class Allowance:
    """How many strips may be kept in a rush: a burst, then so many a minute."""

    held: float = BURST
    at_s: float = 0.0

    def take(self, at_s: float) -> bool:
        """Tell whether one more may be kept at a moment [s], and if so, note it."""
        self.held = min(BURST, self.held + (at_s - self.at_s) * PER_MIN / MINUTE_S)
        self.at_s = at_s
        if self.held < 1.0:
            return False
        self.held -= 1.0
        return True


class Strips:
    """Makes the strips of one start of the counter.

    Parameters
    ----------
    station, boot : str
        Whose, and which start.
    view : StationFile
        Where the gate lies.
    store, clerk
        Where strips are kept, and who writes them.
    """

    def __init__(self, station: str, boot: str, view: StationFile, store: Store, clerk: Clerk) -> None:
        self._station, self._boot, self._view = station, boot, view
        self._store, self._clerk = store, clerk
        self._allowance = Allowance()
        self._ring: Ring | None = None
        self._crossings = 0

    def see(self, moment: Moment, started_at: datetime | None) -> None:
        """Remember what moves, and keep a strip of each crossing that became certain.

        Every crossing is numbered, so that a number without a strip tells that it was left out.
        """
        if not moment.tracks:
            return
        if self._ring is None:
            height, width = moment.frame.image.shape
            self._ring = Ring(self._view, (width, height))
        self._ring.add(moment.frame, moment.tracks)
        for crossing in moment.crossings:
            self._crossings += 1
            if self._allowance.take(moment.at_s):
                self._keep(self._ring, moment, crossing, started_at)

    def _keep(self, ring: Ring, moment: Moment, crossing: Crossing, started_at: datetime | None) -> None:
        clear_s = moment.at_s - crossing.at_s
        shown = [ring.nearest(crossing.at_s + share * clear_s) for share in SHARES]
        turn = _turn(self._view, ring, self._place(moment, crossing, ring), crossing.length_mm)
        label = self._label(crossing, started_at)
        images = [each.image for each in shown]
        task = partial(_write, self._store, label.name, images, turn)
        self._clerk.give(task, sum(image.nbytes for image in images))

    def _place(self, moment: Moment, crossing: Crossing, ring: Ring) -> Point:
        """Return about where the body passed [mm]: a crossing has the very length of its track."""
        passed = ring.nearest(crossing.at_s).places
        here = [track for track in moment.tracks if track.length_mm == crossing.length_mm]
        if not here:
            (x1, y1), (x2, y2) = self._view.gate.start_px, self._view.gate.end_px
            return self._view.view.to_mm((x1 + x2) / 2.0, (y1 + y2) / 2.0)
        return passed.get(here[0].number, (here[0].x_mm, here[0].y_mm))

    def _label(self, crossing: Crossing, started_at: datetime | None) -> Label:
        at = started_at and started_at + timedelta(seconds=crossing.at_s)
        passing = Passing(self._crossings, crossing.direction, crossing.size, crossing.length_mm)
        return Label(self._store.next_order(), self._station, self._boot, crossing.at_s, at, passing)


def _turn(view: StationFile, ring: Ring, place: Point, length_mm: float) -> "cv2.typing.MatLike":
    """Return the map from a glimpse to a picture: the gate upright in its middle at `place`, inside on its right."""
    start, end = view.view.to_mm(*view.gate.start_px), view.view.to_mm(*view.gate.end_px)
    inside = view.view.to_mm(*view.gate.inside_px)
    ux, uy = ((end[i] - start[i]) / math.dist(start, end) for i in (0, 1))
    along = ux * (place[0] - start[0]) + uy * (place[1] - start[1])
    middle = start[0] + along * ux, start[1] + along * uy
    deep = math.copysign(1.0, ux * (inside[1] - start[1]) - uy * (inside[0] - start[0]))
    half = min(REACH_MM, max(LEAST_MM, LENGTHS * length_mm))
    corners_mm = (
        middle,
        (middle[0] - deep * half * uy, middle[1] + deep * half * ux),
        (
            middle[0] + half * ux,
            middle[1] + half * uy,
        ),
    )
    (x0, y0), (x1, y1), (x2, y2) = (_in_ring(ring, view.view.to_px(*corner)) for corner in corners_mm)
    upright = math.copysign(1.0, (x1 - x0) * (y2 - y0) - (y1 - y0) * (x2 - x0))  # a picture is turned, not mirrored
    m = (PICTURE_PX - 1) / 2.0
    source, target = ((x0, y0), (x1, y1), (x2, y2)), ((m, m), (2.0 * m, m), (m, m + upright * m))
    return cv2.getAffineTransform(np.array(source, np.float32), np.array(target, np.float32))


def _in_ring(ring: Ring, point: Point) -> Point:
    return tuple((point[i] - ring.corner[i] + 0.5) / ring.step - 0.5 for i in (0, 1))


def _write(store: Store, name: str, images: Sequence[Luma], turn: "cv2.typing.MatLike") -> None:
    pictures = [_picture(image, turn) for image in images]
    gap = np.full((PICTURE_PX, GAP_PX), WHITE, np.uint8)
    strip = np.hstack([part for picture in pictures for part in (picture, gap)][:-1])
    _, jpeg = cv2.imencode(".jpg", strip, (cv2.IMWRITE_JPEG_QUALITY, QUALITY))
    store.keep(name, jpeg.tobytes())


def _picture(image: Luma, turn: "cv2.typing.MatLike") -> Luma:
    """Return one picture of a strip, with ticks where the line is; what lies outside of the frame is black."""
    picture = cv2.warpAffine(image, turn, (PICTURE_PX, PICTURE_PX), flags=cv2.INTER_LINEAR, borderValue=BLACK)
    middle = PICTURE_PX // 2
    for rows in (slice(0, TICK_PX), slice(PICTURE_PX - TICK_PX, PICTURE_PX)):
        picture[rows, middle - 1 : middle + 1] = WHITE
        picture[rows, middle + 1] = picture[rows, middle - 2] = BLACK
    return np.asarray(picture, np.uint8)
