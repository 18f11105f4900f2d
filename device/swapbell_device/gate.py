"""When a body has passed the gate line for good. Pure: millimetres and seconds in, crossings out."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from swapbell_device.stationfile import StationFile
from swapbell_device.track import SEEN_MIN, Track
from swapbell_models.optics import Point
from swapbell_models.sizes import size_class
from swapbell_models.tally import Crossing, Direction

# Our choice: a body whose centre passes this far beyond an end of the gate still went through it.
END_MM = 1.0


@dataclass(slots=True)
class _Passage:
    """What the gate remembers of one track: the side where it belongs, and its last step over the line."""

    side: int
    depth_mm: float
    along: float
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
        found: list[Crossing] = []
        for track in tracks:
            depth_mm, along = self._place(track.x_mm, track.y_mm)
            passage = self._passages.get(track.number)
            if passage is None:
                side = 0 if depth_mm == 0.0 else int(math.copysign(1.0, depth_mm))
                self._passages[track.number] = _Passage(side, depth_mm, along, at_s)
                continue
            if crossing := self._follow(passage, track, depth_mm, along, at_s):
                found.append(crossing)
        return sorted(found, key=lambda crossing: crossing.at_s)

    def _follow(self, passage: _Passage, track: Track, depth_mm: float, along: float, at_s: float) -> Crossing | None:
        if depth_mm * passage.depth_mm <= 0.0 and depth_mm != passage.depth_mm:
            share = passage.depth_mm / (passage.depth_mm - depth_mm)
            at = passage.along + share * (along - passage.along)
            passage.passed_at_s = passage.at_s + share * (at_s - passage.at_s)
            passage.through = -END_MM <= at <= self._length_mm + END_MM
        passage.depth_mm, passage.along, passage.at_s = depth_mm, along, at_s
        if abs(depth_mm) < max(2.0, 0.5 * track.length_mm):
            return None
        side = 1 if depth_mm > 0.0 else -1
        if (
            math.dist(track.began_mm, (track.x_mm, track.y_mm)) < max(4.0, 0.75 * track.length_mm)
            or track.seen < SEEN_MIN
        ):
            return None
        came_from, passage.side = passage.side, side
        if came_from in (side, 0) or not passage.through:
            return None
        direction = Direction.IN if side > 0 else Direction.OUT
        length_mm = track.length_mm
        return Crossing(
            at_s=max(0.0, passage.passed_at_s), direction=direction, size=size_class(length_mm), length_mm=length_mm
        )

    def _place(self, x_mm: float, y_mm: float) -> Point:
        """Return how deep inside a point lies (negative: outside) and how far along the gate [mm]."""
        dx, dy = x_mm - self._start[0], y_mm - self._start[1]
        ux, uy = self._along
        return self._sign * (ux * dy - uy * dx), ux * dx + uy * dy
