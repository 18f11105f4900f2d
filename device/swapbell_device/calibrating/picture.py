"""The picture to calibrate on, and the picture that shows what came of it."""

from collections.abc import Sequence
from itertools import dropwhile, islice
from pathlib import Path
from threading import Event

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.calibrating.fitting import Calibration
from swapbell_device.camera import Camera, Clip
from swapbell_device.cameras.live import Live, Lost, boot_clock
from swapbell_device.config import BoardSection, UsbSection
from swapbell_device.count import whole
from swapbell_device.eye import source
from swapbell_device.overlay import BODY_BGR, GATE_BGR, TEXT_BGR, spot
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.optics import Optics, Point

Colours = NDArray[np.uint8]

# Our choice: enough that an insect that walks through is in the minority everywhere.
FRAMES = 15
# Our choice: exposure and focus have found their values by then.
LIVE_SETTLED_S = 3.0
# Our choice: a square centimetre of net is what a person can judge with an eye on the card's squares.
NET_MM = 10.0
NET_LINES_MAX = 40
STILL_ENDINGS = frozenset({".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".webp"})


def read_picture(path: Path) -> NDArray[np.uint8]:
    """Return a still as luma, or the middle one of a clip's first frames pixel by pixel.

    Raises
    ------
    Mistake
        If it cannot be read.
    """
    if path.suffix.lower() not in STILL_ENDINGS:
        return middle_of(Clip(path))
    if not path.is_file():
        raise Mistake(f"picture {path}: there is no such file; check the path")
    still = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    if still is None:
        raise Mistake(f"picture {path}: not a picture that can be read, or damaged; take it again")
    return np.asarray(still, np.uint8)


def middle_of(camera: Camera, settled_s: float = 0.0) -> NDArray[np.uint8]:
    """Return the median of a camera's frames from some seconds on, in which nothing that moves is left."""
    settled = dropwhile(lambda frame: frame.at_s < settled_s, camera.frames())
    frames = [frame.image for frame in islice(settled, FRAMES)]
    return np.asarray(np.median(np.stack(frames), axis=0), np.uint8)


def take_picture(section: BoardSection | UsbSection) -> NDArray[np.uint8]:
    """Return what a live camera sees once its exposure has settled.

    Raises
    ------
    Mistake
        If it gives no pictures.
    """
    try:
        return middle_of(Live(source(section), Event(), boot_clock), LIVE_SETTLED_S)
    except Lost as lost:
        raise Mistake(f"camera: {lost}") from lost


def draw_result(path: Path, picture: NDArray[np.uint8], made: Calibration, words: Sequence[str]) -> None:
    """Write the picture as PNG with a net of centimetres, the gate, the inside and what is known of them.

    Raises
    ------
    Mistake, Breakdown
        If it has no place or cannot be written.
    """
    drawn = drawn_over(picture, made)
    drawn[: 20 * len(words) + 8] = drawn[: 20 * len(words) + 8] // 4
    for row, line in enumerate(words, start=1):
        cv2.putText(drawn, line, (8, 20 * row), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (255, 255, 255), 1, cv2.LINE_AA)
    with whole(path) as part:
        if not cv2.imwrite(str(part), drawn):
            raise Breakdown(f"{path}: no picture can be written; end its name in .png and choose a place to write")


def drawn_over(picture: NDArray[np.uint8], made: Calibration | None, points: Sequence[Point] = ()) -> Colours:
    """Return the picture with what was found drawn in, and with points that a person clicked."""
    drawn = np.asarray(cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR), np.uint8)
    if made is not None:
        _net(drawn, made.view, made.gate.start_px)
        _gate(drawn, made)
    for number, point in enumerate(map(spot, points), start=1):
        cv2.drawMarker(drawn, point, GATE_BGR, cv2.MARKER_CROSS, 21, 2, cv2.LINE_AA)
        cv2.putText(drawn, str(number), (point[0] + 8, point[1] - 8), cv2.FONT_HERSHEY_SIMPLEX, 0.7, GATE_BGR, 2)
    return drawn


def as_jpeg(drawn: Colours) -> bytes:
    """Return a picture as a JPEG."""
    return cv2.imencode(".jpg", drawn)[1].tobytes()


def _gate(drawn: Colours, made: Calibration) -> None:
    start, end, inside = (spot(point) for point in (made.gate.start_px, made.gate.end_px, made.gate.inside_px))
    middle = (start[0] + end[0]) // 2, (start[1] + end[1]) // 2
    cv2.line(drawn, start, end, GATE_BGR, 2, cv2.LINE_AA)
    cv2.arrowedLine(drawn, middle, inside, TEXT_BGR, 2, cv2.LINE_AA, tipLength=0.1)


def _net(drawn: Colours, view: Optics, origin_px: tuple[float, float]) -> None:
    """Draw lines a centimetre apart on the board, all over the picture."""
    height, width = drawn.shape[:2]
    x0, y0 = view.to_mm(*origin_px)
    corners = np.array([view.to_mm(x, y) for x in (0.0, width) for y in (0.0, height)])
    (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0)
    for x in _steps(x0, left, right):
        cv2.line(drawn, spot(view.to_px(x, top)), spot(view.to_px(x, bottom)), BODY_BGR, 1, cv2.LINE_AA)
    for y in _steps(y0, top, bottom):
        cv2.line(drawn, spot(view.to_px(left, y)), spot(view.to_px(right, y)), BODY_BGR, 1, cv2.LINE_AA)


def _steps(origin: float, low: float, high: float) -> list[float]:
    first, last = (int((edge - origin) // NET_MM) for edge in (low, high))
    return [origin + n * NET_MM for n in range(max(first, -NET_LINES_MAX), min(last, NET_LINES_MAX) + 1)]
