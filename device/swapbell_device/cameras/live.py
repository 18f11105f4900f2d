"""A camera that runs on: what it sends is checked, what it loses is said, and it is opened again.

All times are seconds since the board started (`CLOCK_BOOTTIME`), which no setting of the time of day moves.
"""

import time
from collections.abc import Callable, Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import count
from threading import Event
from typing import NamedTuple, Protocol

from swapbell_device.camera import Frame, Luma

# Our choice: a sensor's noise never draws the same picture twice; seconds of the same one mean a camera that hangs.
FROZEN_S = 4.0
# Which rows of a picture are compared with those before.
FROZEN_ROWS = 16
# Our choice: opening a camera takes about a second, and one that is gone is looked for twice a minute in the end.
AGAIN_AFTER_S = (1.0, 2.0, 5.0, 15.0, 30.0)
# Our choice: a camera that ran so long was well, and is first looked for soon again.
WELL_S = 60.0
# Our choice: how often it is said that there is no picture, so that tallies go out on time.
TICK_S = 1.0


class Lost(Exception):
    """A camera gives no pictures that can be counted, and why."""


class Shot(NamedTuple):
    """A picture (2-D luma), the time of its exposure [s], and how long that was, where the camera tells [s]."""

    image: Luma
    taken_s: float
    exposure_s: float | None = None


class Source(Protocol):
    """A camera as its driver has it."""

    @property
    def size(self) -> tuple[int, int]:
        """Width and height that were asked for [px]."""
        ...

    def pictures(self) -> Generator[Shot]:
        """Open the camera and yield each picture with the time of its exposure; close it at the end.

        Raises
        ------
        Lost
            If it cannot be opened, or gives no more pictures.
        """
        ...


@dataclass(frozen=True, slots=True)
class Absence:
    """A moment without a picture: when, counted like a frame's time [s], why, and whether that is as it should be."""

    at_s: float
    reason: str
    asleep: bool = False


class Live:
    """A camera whose frames count from one moment, however often it is opened.

    Parameters
    ----------
    source : Source
        The camera.
    stop : Event
        Ends the frames.
    clock : callable
        Returns the board's time [s].
    origin_s : float, optional
        From when frames count, on that clock [s]; from now on unless given.
    """

    def __init__(
        self, source: Source, stop: Event, clock: Callable[[], float], origin_s: float | None = None
    ) -> None:
        self._source, self._stop, self._clock = source, stop, clock
        self.origin_s = clock() if origin_s is None else origin_s
        self._last_s = 0.0

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of every frame [px]."""
        return self._source.size

    def frames(self) -> Iterator[Frame]:
        """Open the camera and yield its frames in time order, until it is lost or someone says stop.

        Raises
        ------
        Lost
            If it cannot be opened, gives no more pictures, others than were asked for, or the same for seconds.
        """
        stillness = _Stillness()
        with closing(self._source.pictures()) as pictures:
            for image, taken_s, exposure_s in pictures:
                if self._stop.is_set():
                    return
                _check(image, self.size)
                at_s = taken_s - self.origin_s
                lives = stillness.note(image, at_s)
                if at_s > self._last_s:
                    self._last_s = at_s
                    yield Frame(image, at_s, exposure_s, lives)

    def absences(self, reason: str, seconds: float, *, asleep: bool = False) -> Iterator[Absence]:
        """Yield so many seconds [s] without a picture, as they pass."""
        until_s = self.now_s() + seconds
        while not self._stop.is_set() and self.now_s() < until_s:
            yield Absence(self.now_s(), reason, asleep)
            self._stop.wait(min(TICK_S, max(until_s - self.now_s(), 0.0)))

    def now_s(self) -> float:
        """Return the time now, counted like a frame's [s]."""
        return self._clock() - self.origin_s


def again_after_s() -> Iterator[float]:
    """Yield how long to wait before a lost camera is opened again [s], each time a little longer."""
    for failures in count():
        yield AGAIN_AFTER_S[min(failures, len(AGAIN_AFTER_S) - 1)]


def boot_clock() -> float:
    """Return the board's time since it started [s]."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


class _Stillness:
    """Notices a camera that sends the same picture again and again; one all black or white is the light's affair."""

    def __init__(self) -> None:
        self._rows, self._since_s = b"", 0.0

    def note(self, image: Luma, at_s: float) -> bool:
        """Tell whether a picture is another than the one before, as far as one can; raise `Lost` at the end."""
        rows = image[::FROZEN_ROWS].tobytes()
        if rows != self._rows or rows.count(rows[:1]) == len(rows):
            self._rows, self._since_s = rows, at_s
            return True
        if at_s - self._since_s >= FROZEN_S:
            raise Lost(f"the camera hangs: it has sent the same picture for {at_s - self._since_s:.0f} s")
        return False


def _check(image: Luma, size: tuple[int, int]) -> None:
    width, height = size
    if image.shape != (height, width):
        shown = " x ".join(str(side) for side in reversed(image.shape))
        raise Lost(f"the camera sends pictures of {shown} instead of {width} x {height}")
