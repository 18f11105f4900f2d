"""When a body has passed the gate line for good. Pure: millimetres and seconds in, crossings out."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from swapbell_device.following.track import HIDDEN_S, Track
from swapbell_device.stationfile import StationFile
from swapbell_models.optics import Point
from swapbell_models.sizes import size_class
from swapbell_models.tally import Crossing, Direction

# Our choice: a body whose centre passes this far beyond an end of the gate still went through it.
END_MM = 1.0
# The design's margin is half a body length; below this it would be within the jitter of an ant's centre, our choice.
MARGIN_LENGTHS, MARGIN_MIN_MM = 0.5, 2.0
# Our choice: what has not come this far since it was first seen has not walked through.
COME_LENGTHS, COME_MIN_MM = 0.75, 4.0
# Our choice: of what is less sure than this, more is chance than insects.
CONFIDENCE_MIN = 0.2
# Our choice: nobody tells hundredths of it apart.
CONFIDENCE_DIGITS = 2


@dataclass(slots=True)
class _Passage:
    """What the gate remembers of one track: the side where it belongs, and its last step over the line."""

    side: int
    depth_mm: float
    along_mm: float
    at_s: float
    passed_at_s: float = 0.0
    through: bool = False


class Gate:
    """The gate line on the board; `cross` takes one frame's tracks.

    Parameters
    ----------
    station : StationFile
        Its gate segment and inside point.
    """

    def __init__(self, station: StationFile) -> None:
        start = station.view.to_mm(*station.gate.start_px)
        end = station.view.to_mm(*station.gate.end_px)
        self._start = start
        self._length_mm = math.dist(start, end)
        self._along = (end[0] - start[0]) / self._length_mm, (end[1] - start[1]) / self._length_mm
        self._sign = 1.0
        self._sign = math.copysign(1.0, self._place(*station.view.to_mm(*station.gate.inside_px))[0])
        self._passages: dict[int, _Passage] = {}

    def cross(self, tracks: Iterable[Track], at_s: float) -> list[Crossing]:
        """Return the crossings that became certain with this frame, in time order."""
        found = [crossing for track in tracks if (crossing := self._follow(track, at_s))]
        if len(self._passages) > 2 * sum(passage.at_s == at_s for passage in self._passages.values()):
            self._forget(at_s)
        return sorted(found, key=lambda crossing: crossing.at_s)

    def _forget(self, at_s: float) -> None:
        self._passages = {number: p for number, p in self._passages.items() if at_s - p.at_s <= HIDDEN_S}

    def _follow(self, track: Track, at_s: float) -> Crossing | None:
        depth_mm, along_mm = self._place(track.x_mm, track.y_mm)
        passage = self._passages.get(track.number)
        if passage is None:
            self._passages[track.number] = _Passage(_side(depth_mm), depth_mm, along_mm, at_s)
            return None
        if _side(depth_mm) != _side(passage.depth_mm):
            self._pass(passage, depth_mm, along_mm, at_s)
        passage.depth_mm, passage.along_mm, passage.at_s = depth_mm, along_mm, at_s
        return self._settle(passage, track)

    def _pass(self, passage: _Passage, depth_mm: float, along_mm: float, at_s: float) -> None:
        share = passage.depth_mm / (passage.depth_mm - depth_mm)
        at_mm = passage.along_mm + share * (along_mm - passage.along_mm)
        passage.passed_at_s = passage.at_s + share * (at_s - passage.at_s)
        passage.through = -END_MM <= at_mm <= self._length_mm + END_MM

    def _settle(self, passage: _Passage, track: Track) -> Crossing | None:
        """Return the crossing of a body that has got far enough to the other side, and let it belong there."""
        side = _side(passage.depth_mm)
        if side == passage.side or abs(passage.depth_mm) < max(MARGIN_MIN_MM, MARGIN_LENGTHS * track.length_mm):
            return None
        if (
            not track.believable
            or track.confidence < CONFIDENCE_MIN
            or track.gone_mm < max(COME_MIN_MM, COME_LENGTHS * track.length_mm)
        ):
            return None
        passage.side = side
        if not passage.through:
            return None
        return Crossing(
            at_s=max(0.0, passage.passed_at_s),
            direction=Direction.IN if side > 0 else Direction.OUT,
            size=size_class(track.length_mm),
            length_mm=track.length_mm,
            confidence=round(track.confidence, CONFIDENCE_DIGITS),
        )

    def _place(self, x_mm: float, y_mm: float) -> Point:
        """Return how deep inside a point lies (negative: outside) and how far along the gate [mm]."""
        dx, dy = x_mm - self._start[0], y_mm - self._start[1]
        ux, uy = self._along
        return self._sign * (ux * dy - uy * dx), ux * dx + uy * dy


def _side(depth_mm: float) -> int:
    return 1 if depth_mm > 0.0 else -1
