"""A camera on the board's own connector, through picamera2.

Every request is seen while the library holds the camera: its luma and the sensor's time are copied into a short
queue; what finds no room there is missing by its time. picamera2 has no annotations and runs only where libcamera is,
so it is imported by name when the camera is opened.
"""

import os
from collections.abc import Generator
from contextlib import ExitStack, closing
from dataclasses import dataclass
from importlib import import_module
from queue import Empty, Queue
from typing import Any

import numpy as np

from swapbell_device.camera import Luma
from swapbell_device.cameras.exposure import Exposure, Order
from swapbell_device.cameras.live import Lost, Shot

NANO = 1e-9
MICRO_PER_S = 1e6
# Our choice: what a hesitation of a tenth of a second holds up at 60 frames a second.
QUEUE_FRAMES = 6
# picamera2's sources ask for six where no frame may be lost.
BUFFERS = 6
# Our choice: a camera that sends nothing for so long is gone; the longest exposure is a hundredth of it.
SILENT_S = 3.0
STREAM = "main"
# Its luma plane comes first and whole, whatever else the format holds.
FORMAT = "YUV420"
NONE_SUCH = "the board finds none of that number; look at its cable, and whether this user is in the group video"
# libcamera's AfMode: manual, which it begins with, and continuous.
FOCUS_HELD, FOCUS_FOUND = 0, 2
HELD: dict[str, object] = {"AeEnable": False, "AwbEnable": False, "AfMode": FOCUS_HELD}
# What is held is what the camera says of its last picture.
FOUND = ("ExposureTime", "AnalogueGain", "LensPosition")


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardCamera:
    """A camera by its number.

    Attributes
    ----------
    size
        Width and height of the pictures [px].
    fps
        Pictures a second.
    exposure_s, gain, focus_per_m
        Held from the first picture on; what is not said the camera finds, and then holds. Focus is the reciprocal of
        the distance [1/m].
    number
        Which camera, from 0.
    """

    size: tuple[int, int]
    fps: float
    exposure_s: float | None = None
    gain: float | None = None
    focus_per_m: float | None = None
    number: int = 0

    def pictures(self) -> Generator[Shot]:
        """Open the camera and yield each picture's luma with its sensor time; see `live.Source`."""
        library = _library()
        inbox = _Inbox(self.size, library.MappedArray)
        with ExitStack() as open_camera:
            try:
                camera = open_camera.enter_context(closing(library.Picamera2(self.number)))
                camera.configure(self._configuration(camera))
                camera.pre_callback = inbox.take
                camera.start()
            except IndexError as error:
                raise Lost(f"camera {self.number} cannot be opened: {NONE_SUCH}") from error
            except RuntimeError as error:
                raise Lost(
                    f"camera {self.number} cannot be opened ({error}); look at its cable and who else uses it"
                ) from error
            yield from self._held(camera, inbox)

    def _configuration(self, camera: Any) -> Any:
        frame_us = round(MICRO_PER_S / self.fps)
        stream = {"size": self.size, "format": FORMAT}
        controls = _known(camera, {"FrameDurationLimits": (frame_us, frame_us), **self._focus(), **self._fixed()})
        return camera.create_video_configuration(main=stream, buffer_count=BUFFERS, controls=controls)

    def _focus(self) -> dict[str, object]:
        return {"AfMode": FOCUS_FOUND if self.focus_per_m is None else FOCUS_HELD}

    def _fixed(self) -> dict[str, object]:
        """Return what was said of the exposure, in libcamera's names."""
        said = {
            "ExposureTime": None if self.exposure_s is None else round(self.exposure_s * MICRO_PER_S),
            "AnalogueGain": self.gain,
            "LensPosition": self.focus_per_m,
        }
        return {name: value for name, value in said.items() if value is not None}

    def _held(self, camera: Any, inbox: "_Inbox") -> Generator[Shot]:
        exposure = Exposure()
        for shot in inbox.pictures():
            order = exposure.next(shot.image, shot.taken_s)
            if order is Order.HOLD:
                camera.set_controls(_known(camera, {**HELD, **inbox.found, **self._fixed()}))
            elif order is Order.SEEK:
                camera.set_controls(_known(camera, {"AeEnable": True, **self._fixed()}))
            yield shot


class _Inbox:
    """Where the library's thread leaves pictures and ours takes them.

    Attributes
    ----------
    found
        The exposure, gain and focus of the last picture, in libcamera's names.
    """

    def __init__(self, size: tuple[int, int], mapped: Any) -> None:
        self._width, self._height = size
        self._mapped = mapped
        self._queue: Queue[Shot] = Queue(QUEUE_FRAMES)
        self.found: dict[str, object] = {}

    def take(self, request: Any) -> None:
        """Copy a request's luma and time, unless the queue is full; called while the library holds the camera."""
        metadata = request.get_metadata()
        self.found = {name: metadata[name] for name in FOUND if name in metadata}
        if not self._queue.full():
            exposure_us = metadata.get("ExposureTime")
            exposure_s = None if exposure_us is None else exposure_us / MICRO_PER_S
            self._queue.put_nowait(Shot(self._luma(request), metadata["SensorTimestamp"] * NANO, exposure_s))

    def pictures(self) -> Generator[Shot]:
        """Yield what comes, in time order."""
        while True:
            try:
                yield self._queue.get(timeout=SILENT_S)
            except Empty:
                raise Lost(f"the camera has sent nothing for {SILENT_S:g} s; look at its cable") from None

    def _luma(self, request: Any) -> Luma:
        with self._mapped(request, STREAM, reshape=False, write=False) as plane:
            stride = request.config[STREAM]["stride"]
            rows = np.asarray(plane.array, np.uint8)[: self._height * stride].reshape(self._height, stride)
            return rows[:, : self._width].copy()


def _known(camera: Any, controls: dict[str, object]) -> dict[str, object]:
    """Return those of the controls that the camera has: picamera2 raises on others."""
    return {name: value for name, value in controls.items() if name in camera.camera_controls}


def _library() -> Any:
    # The library's own chatter would bury what the counter says; whoever wants it says so in the environment.
    os.environ.setdefault("LIBCAMERA_LOG_LEVELS", "WARN")
    try:
        return import_module("picamera2")
    except ImportError as error:
        way_out = "on the board: apt-get install python3-picamera2, in a venv made with --system-site-packages"
        raise Lost(f"picamera2 cannot be imported ({error}); {way_out}") from error
