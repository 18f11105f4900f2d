"""Where frames come from: a clip, read frame by frame with its own times.

Frames are luma only: colour costs three times as much to move and the count does not need it.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_models.fault import Mistake

Luma = NDArray[np.uint8]

# Our choice, for a container that states no rate: the commonest one.
RATE_DEFAULT_PER_S = 30.0
# Frames at the end that a decoder may keep to itself even in a sound clip (reordering, edit lists); our choice.
TAIL_FRAMES = 3
# Containers without a frame count get one guessed from length and rate: allow this much; our choice.
GUESS_TAIL_S = 1.0
GUESS_TAIL_SHARE = 0.05
# ISO/IEC 14496-12 (MP4, MOV: "ftyp" after the first length) and RIFF AVI state their frames exactly.
EXACT_MARKS = ((4, b"ftyp"), (4, b"moov"), (0, b"RIFF"))


@dataclass(frozen=True, slots=True)
class Frame:
    """One picture: 2-D luma, when it was taken, counted from the first frame [s], and how long it was exposed [s].

    `lives` is false where a live camera sent the same picture as before, and may hang.
    """

    image: Luma
    at_s: float
    exposure_s: float | None = None
    lives: bool = True


class Camera(Protocol):
    """Anything that sees the opening."""

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of every frame [px]."""
        ...

    def frames(self) -> Iterator[Frame]:
        """Yield the frames in time order."""
        ...


class Clip:
    """A video file as a camera.

    Parameters
    ----------
    path : Path
        Any container that OpenCV reads.
    times : sequence of float, optional
        Capture time of each frame [s], strictly increasing, for clips with uneven frames.

    Raises
    ------
    Mistake
        If the clip cannot be read, and from `frames` if it ends before its container says so or the times are not as
        many as its frames.
    """

    def __init__(self, path: Path, times: Sequence[float] | None = None) -> None:
        self._path = path
        self._times = times
        capture = self._open()
        self.size = int(capture.get(cv2.CAP_PROP_FRAME_WIDTH)), int(capture.get(cv2.CAP_PROP_FRAME_HEIGHT))
        self.per_s = _rate(capture.get(cv2.CAP_PROP_FPS))
        self.frames_promised = max(0, int(capture.get(cv2.CAP_PROP_FRAME_COUNT)))
        capture.release()
        if min(self.size) <= 0:
            raise Mistake(f"clip {path}: it holds no picture; give a video that a player can show")

    @property
    def length_s(self) -> float:
        """How long it is [s], by the given times or by what its container promises; 0 if that promises nothing."""
        return self.frames_promised / self.per_s if self._times is None else self._times[-1] - self._times[0]

    def frames(self) -> Iterator[Frame]:
        """Yield every frame once, from the first."""
        capture, seen, at_s = self._open(), 0, 0.0
        stamps = _Stamps(1.0 / self.per_s)
        for image in _lumas(capture):
            at_s = stamps.next(capture.get(cv2.CAP_PROP_POS_MSEC) / 1000.0)
            yield Frame(image, at_s if self._times is None else self._time(seen))
            seen += 1
        capture.release()
        self._check_end(seen, at_s)

    def _open(self) -> cv2.VideoCapture:
        if self._path.is_dir():
            raise Mistake(f"clip {self._path}: it is a folder; give one video in it")
        if not self._path.is_file():
            raise Mistake(f"clip {self._path}: there is no such file; check the path")
        if self._path.stat().st_size == 0:
            raise Mistake(f"clip {self._path}: the file is empty; copy it again from where it was recorded")
        capture = cv2.VideoCapture(str(self._path))
        if not capture.isOpened():
            raise Mistake(f"clip {self._path}: not a video that can be read, or damaged; copy or convert it again")
        return capture

    def _time(self, index: int) -> float:
        assert self._times is not None
        if index >= len(self._times):
            raise self._wrong_times("more")
        return self._times[index] - self._times[0]

    def _check_end(self, seen: int, at_s: float) -> None:
        if seen == 0:
            raise Mistake(f"clip {self._path}: no frame could be read; copy or convert it again")
        promised_s, reached_s = self.frames_promised / self.per_s, at_s + 1.0 / self.per_s
        if reached_s < promised_s - self._tail_s(promised_s):
            raise Mistake(
                f"clip {self._path}: it ends early: {reached_s:.1f} of {promised_s:.1f} s were read; copy it again"
            )
        if self._times is not None and len(self._times) > self._most_frames(seen):
            raise self._wrong_times(str(seen))

    def _wrong_times(self, frames: str) -> Mistake:
        said = f"the times file holds {len(self._times or ())} times, but {self._path} has {frames} frames"
        return Mistake(f"{said}; give the file that was recorded with this clip")

    def _most_frames(self, seen: int) -> int:
        """Return how many frames the clip may hold: a decoder may keep the last of those that it states to itself."""
        return max(seen, self.frames_promised) if _states_its_frames(self._path) else seen

    def _tail_s(self, promised_s: float) -> float:
        if _states_its_frames(self._path):
            return TAIL_FRAMES / self.per_s
        return max(GUESS_TAIL_S, GUESS_TAIL_SHARE * promised_s)


def read_times(path: Path) -> list[float]:
    """Read one capture time per line [s].

    Raises
    ------
    Mistake
        If the file cannot be read, holds something else than numbers, or time runs backwards or stands still.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except OSError as error:
        raise Mistake(f"times file {path}: {error.strerror}; check the path") from error
    except UnicodeDecodeError as error:
        raise Mistake(f"times file {path}: it is no text; give one number in seconds per line") from error
    times = {number: _seconds(path, number, line) for number, line in enumerate(lines, start=1) if line.strip()}
    if not times:
        raise Mistake(f"times file {path}: it holds nothing; give one number in seconds for each frame")
    for (_, earlier), (number, later) in pairwise(times.items()):
        if later <= earlier:
            raise Mistake(f"times file {path}: time does not go forward at line {number} ({earlier} then {later})")
    return list(times.values())


def _seconds(path: Path, number: int, line: str) -> float:
    try:
        seconds = float(line)
    except ValueError:
        seconds = math.nan
    if not math.isfinite(seconds):
        raise Mistake(f"times file {path}: line {number} must be one number in seconds, not {line.strip()!r}")
    return seconds


class _Stamps:
    """The container's own times where they go forward, the stated rate where they do not."""

    def __init__(self, step_s: float) -> None:
        self._step_s = step_s
        self._first_s: float | None = None
        self._last_s = -step_s

    def next(self, stamp_s: float) -> float:
        if self._first_s is None:
            self._first_s = stamp_s
        at_s = stamp_s - self._first_s
        if not at_s > self._last_s:
            at_s = self._last_s + self._step_s
        self._last_s = at_s
        return at_s


def _lumas(capture: cv2.VideoCapture) -> Iterator[Luma]:
    """Yield the luma of every picture; the colours are read into the same memory each time."""
    got, picture = capture.read()
    while got:
        yield _luma(picture)
        got, picture = capture.read(picture)


def _luma(picture: "cv2.typing.MatLike") -> Luma:
    if picture.ndim == 3:  # noqa: PLR2004  (rows, columns, colours)
        return np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
    return np.array(picture, np.uint8)


def _rate(stated_per_s: float) -> float:
    return stated_per_s if 0.0 < stated_per_s < math.inf else RATE_DEFAULT_PER_S


def _states_its_frames(path: Path) -> bool:
    with path.open("rb") as file:
        head = file.read(8)
    return any(head[at:].startswith(mark) for at, mark in EXACT_MARKS)
