"""What a camera sees now, for somebody who looks at it while moving card or camera."""

from collections import deque
from collections.abc import Callable, Generator
from contextlib import contextmanager
from threading import Event, Lock, Thread

import numpy as np

from swapbell_device.calibrating.picture import FRAMES
from swapbell_device.camera import Camera, Luma
from swapbell_device.cameras.live import Lost, again_after_s

# How long a camera's thread may take to leave: a driver that hangs is left to the end of the process.
LEAVE_S = 5.0
Take = Callable[[], Luma]
ENDED = "the camera is not watched any more; the terminal says why: stop there and begin again"
FIRST = "the camera has sent no picture yet; opening it takes a few seconds"


class Watcher:
    """Keeps the newest pictures of a camera, and opens it again where it is lost.

    Parameters
    ----------
    camera : Camera
        Its frames may end in `Lost`.
    stop : Event
        Ends it.
    """

    def __init__(self, camera: Camera, stop: Event) -> None:
        self._camera, self._stop, self._lock = camera, stop, Lock()
        self._newest: deque[Luma] = deque(maxlen=FRAMES)
        self._lost = FIRST

    def picture(self) -> Luma:
        """Return the middle one of the newest pictures pixel by pixel, in which what walks through is not left.

        Raises
        ------
        Lost
            If there is none.
        """
        with self._lock:
            newest = list(self._newest)
        if not newest:
            raise Lost(self._lost)
        return np.asarray(np.median(np.stack(newest), axis=0), np.uint8)

    def watch(self) -> None:
        """Take pictures until someone says stop."""
        try:
            self._watch()
        finally:
            self._lose(ENDED)

    def _watch(self) -> None:
        waits = again_after_s()
        while not self._stop.is_set():
            try:
                self._follow()
            except Lost as lost:
                self._lose(str(lost))
                self._stop.wait(next(waits))

    def _follow(self) -> None:
        for frame in self._camera.frames():
            with self._lock:
                self._newest.append(frame.image)

    def _lose(self, why: str) -> None:
        with self._lock:
            self._lost = why
            self._newest.clear()


@contextmanager
def watching(camera: Camera, stop: Event) -> Generator[Take]:
    """Watch a camera on a thread of its own, and yield what returns its picture; sets `stop` in the end."""
    watcher = Watcher(camera, stop)
    thread = Thread(target=watcher.watch, name="camera", daemon=True)
    thread.start()
    try:
        yield watcher.picture
    finally:
        stop.set()
        thread.join(LEAVE_S)
