"""Draws the gate, the tracks and the counts over a clip."""

from pathlib import Path
from types import TracebackType

import cv2

from swapbell_device.following.track import Track
from swapbell_device.moment import Moment
from swapbell_device.stationfile import StationFile
from swapbell_models.fault import Breakdown
from swapbell_models.optics import Optics
from swapbell_models.tally import Direction

# Colours that colour-blind people can tell apart too (Okabe and Ito, 2008), blue-green-red.
GATE_BGR = (66, 228, 240)
BODY_BGR = (233, 180, 86)
TEXT_BGR = (0, 159, 230)


class Overlay:
    """A video file with what the counter saw drawn over every frame; use it in a `with`.

    Parameters
    ----------
    path : Path
        Where to write, ending in .mp4.
    size : (int, int)
        Width and height of the frames [px].
    per_s : float
        Frames per second of the video.
    """

    def __init__(self, path: Path, size: tuple[int, int], per_s: float) -> None:
        self._writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"mp4v"), per_s, size)
        if not self._writer.isOpened():
            raise Breakdown(
                f"{path.name}: the video cannot be written; end its name in .mp4 and choose a place to write"
            )
        self._counts = {Direction.IN: 0, Direction.OUT: 0}

    def __enter__(self) -> "Overlay":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, where: TracebackType | None
    ) -> None:
        self._writer.release()

    def draw(self, moment: Moment, station: StationFile) -> None:
        """Add one frame."""
        picture = cv2.cvtColor(moment.frame.image, cv2.COLOR_GRAY2BGR)
        cv2.line(picture, spot(station.gate.start_px), spot(station.gate.end_px), GATE_BGR, 2)
        for track in moment.tracks:
            _mark(picture, track, station.view)
        for crossing in moment.crossings:
            self._counts[crossing.direction] += 1
        told = f"in {self._counts[Direction.IN]}  out {self._counts[Direction.OUT]}  {moment.frame.at_s:.2f} s"
        cv2.putText(picture, told, (8, 24), cv2.FONT_HERSHEY_SIMPLEX, 0.7, TEXT_BGR, 2)
        self._writer.write(picture)


def _mark(picture: "cv2.typing.MatLike", track: Track, optics: Optics) -> None:
    centre = spot(optics.to_px(track.x_mm, track.y_mm))
    radius = max(2, round(0.5 * track.length_mm / optics.mm_per_px(*centre)))
    cv2.circle(picture, centre, radius, BODY_BGR, 2)
    label = f"{track.number}: {track.length_mm:.0f} mm"
    cv2.putText(picture, label, (centre[0] + radius, centre[1]), cv2.FONT_HERSHEY_SIMPLEX, 0.45, BODY_BGR, 1)


def spot(point: tuple[float, float]) -> tuple[int, int]:
    """Return the pixel that an image point lies in."""
    return round(point[0]), round(point[1])
