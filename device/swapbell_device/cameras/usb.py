"""A camera on USB, through Linux's V4L2 by OpenCV."""

import os
import re
import time
from collections.abc import Generator
from dataclasses import dataclass
from getpass import getuser
from pathlib import Path

import cv2
import numpy as np

from swapbell_device.camera import Luma
from swapbell_device.cameras.live import Lost, Shot, boot_clock

MILLI = 1e-3
# Our choice: a driver whose times lie farther from now than this has another clock.
STAMP_WITHIN_S = 2.0
# linux/videodev2.h, V4L2_EXPOSURE_MANUAL, as OpenCV passes it on.
MANUAL = 1.0
# linux/uvcvideo: exposure in units of 100 us.
PER_S = 10_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class UsbCamera:
    """A camera by its device.

    Attributes
    ----------
    device
        Such as /dev/video0.
    size, fps
        Width and height of the pictures [px], and how many a second.
    exposure_s
        Held fixed; the camera finds its own if it is not said [s].
    """

    device: str
    size: tuple[int, int]
    fps: float
    exposure_s: float | None = None

    def pictures(self) -> Generator[Shot]:
        """Open the camera and yield each picture's luma with the driver's time; see `live.Source`."""
        capture = cv2.VideoCapture(self._number(), cv2.CAP_V4L2)
        try:
            if not capture.isOpened():
                raise Lost(f"{self.device} cannot be opened: {self._why_closed()}")
            self._set(capture)
            exposure_s = self._held_s(capture)
            while True:
                got, picture = capture.read()
                if not got:
                    raise Lost(f"{self.device} sends no more pictures; look at its plug")
                yield Shot(_luma(picture), _taken_s(capture), exposure_s)
        finally:
            capture.release()

    def _number(self) -> int:
        """Return the number that Linux gave the device: not every build of OpenCV opens one by its name."""
        found = re.fullmatch(r"/dev/video([0-9]+)", str(Path(self.device).resolve()))
        if found is None:
            raise Lost(f"{self.device} is no camera's device, such as /dev/video0; look at its plug")
        return int(found[1])

    def _why_closed(self) -> str:
        if not Path(self.device).exists():
            return "it is not there; look at its plug"
        if not os.access(self.device, os.R_OK | os.W_OK):
            return f"this user may not; sudo usermod --append --groups video {getuser()}, and sign in again"
        return "it is no camera, or something else uses it, such as a counter that runs"

    def _set(self, capture: cv2.VideoCapture) -> None:
        """Ask for size and rate, and for a fixed exposure if one was said."""
        capture.set(cv2.CAP_PROP_FRAME_WIDTH, self.size[0])
        capture.set(cv2.CAP_PROP_FRAME_HEIGHT, self.size[1])
        capture.set(cv2.CAP_PROP_FPS, self.fps)
        if self.exposure_s is not None:
            capture.set(cv2.CAP_PROP_AUTO_EXPOSURE, MANUAL)
            capture.set(cv2.CAP_PROP_EXPOSURE, self.exposure_s * PER_S)

    def _held_s(self, capture: cv2.VideoCapture) -> float | None:
        """Return the exposure that the driver took over [s]; of one that the camera finds, drivers tell anything."""
        told = capture.get(cv2.CAP_PROP_EXPOSURE)
        return told / PER_S if self.exposure_s is not None and told > 0.0 else None


def _taken_s(capture: cv2.VideoCapture) -> float:
    """Return when the picture was taken, on the board's clock [s]: by the driver's stamp if it has the same clock."""
    stamp_s, now_s = capture.get(cv2.CAP_PROP_POS_MSEC) * MILLI, time.monotonic()
    age_s = now_s - stamp_s
    return boot_clock() - (age_s if 0.0 <= age_s <= STAMP_WITHIN_S else 0.0)


def _luma(picture: "cv2.typing.MatLike") -> Luma:
    if picture.ndim == 3 and picture.shape[2] == 3:  # noqa: PLR2004  (rows, columns, colours)
        return np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
    return np.asarray(picture, np.uint8)
