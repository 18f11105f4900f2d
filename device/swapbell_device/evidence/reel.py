"""One minute of film in the making: its frames as they come, then what was counted in it.

The video is lossy, small and countable: on drawn scenes the count of the film differs from that of the frames by no
more than a body or two in fifty, as a flicker of a setting does.
"""

import errno
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

import cv2
from msgspec.structs import replace

from swapbell_device.camera import Frame
from swapbell_device.count import event
from swapbell_device.evidence.store import Store, remove
from swapbell_models.evidence import ABOUT, EVENTS, STATION, TALLIES, TIMES, VIDEOS, About
from swapbell_models.message import encode
from swapbell_models.tally import Tally

# MPEG-4 Part 2 (ISO/IEC 14496-2): every build of OpenCV that was tried writes it, at a quarter of Motion JPEG's bytes
# for the same count. The second is OpenCV's own, for a build without FFmpeg.
CODECS = dict(zip(VIDEOS, ("mp4v", "MJPG"), strict=True))
# Our choice: so many frames are written between two looks at the room that they took.
ROOM_FRAMES = 60
TOO_SLOW = "the film could not be written as fast as the camera's frames came"


class Reel:
    """A clip that is filmed; everything but `spoil` happens in the evidence's own thread.

    Parameters
    ----------
    store : Store
        Where it is kept.
    name : str
        What it is called while it is made.
    per_s : float
        Frames per second that players are told; true times stand beside the film.

    Attributes
    ----------
    spoilt
        Why there will be no video; nothing if there will.
    """

    def __init__(self, store: Store, name: str, per_s: float) -> None:
        self.spoilt: str | None = None
        self._store, self._part, self._per_s = store, store.part(name), per_s
        self._video: Path | None = None
        self._writer: cv2.VideoWriter | None = None
        self._times_s: list[float] = []

    def spoil(self, why: str) -> None:
        """Note that the clip cannot be whole: nothing of it is kept but the reason."""
        self.spoilt = self.spoilt or why

    def add(self, frame: Frame) -> None:
        """Film one frame."""
        if self.spoilt:
            return
        try:
            writer = self._writer or self._open(frame)
            writer.write(frame.image)
            self._times_s.append(frame.at_s)
            if len(self._times_s) % ROOM_FRAMES == 0 and self._video is not None:
                self._store.make_room(self._video.stat().st_size)
        except (OSError, cv2.error) as error:
            self.spoil(_why(error))

    def finish(self, name: str, about: About, tallies: Sequence[Tally], station: str) -> None:
        """Keep what was filmed, with the files that belong to it; of a spoilt one the reason alone.

        Parameters
        ----------
        name : str
            The item's.
        about : About
            What is known of the minute without the film.
        tallies : sequence of Tally
            All that reach into the minute.
        station : str
            The station file.
        """
        self._check()
        if self.spoilt:
            self._store.tell(f"evidence {name}: no film is kept: {self.spoilt}; counting goes on")
        times_s = [] if self.spoilt else self._times_s
        first_s = times_s[0] if times_s else None
        since_s = None if first_s is None else first_s - about.up_s
        told = replace(about, frames=len(times_s), first_s=since_s, left_out=self.spoilt)
        texts = {ABOUT: encode(told).decode()}
        if first_s is not None:
            texts |= {
                TIMES: _lines(f"{at_s - first_s:.6f}" for at_s in times_s),
                TALLIES: _lines(encode(tally).decode() for tally in tallies),
                EVENTS: _lines(_events(tallies, about, first_s)),
                STATION: station,
            }
        self._keep(name, texts)

    def abandon(self) -> None:
        """Leave nothing of it: the counter ends before the minute does."""
        self._release()
        remove(self._part)

    def _keep(self, name: str, texts: Mapping[str, str]) -> None:
        with self._store.trying(self._part):
            self._part.mkdir(exist_ok=True)
            for file, text in texts.items():
                (self._part / file).write_text(text, encoding="utf-8")
            self._store.finish(self._part, name)

    def _open(self, frame: Frame) -> cv2.VideoWriter:
        self._part.mkdir(exist_ok=True)
        height, width = frame.image.shape
        for name, codec in CODECS.items():
            self._video = self._part / name
            writer = cv2.VideoWriter(
                str(self._video), cv2.VideoWriter.fourcc(*codec), self._per_s, (width, height), isColor=False
            )
            if writer.isOpened():
                self._writer = writer
                return writer
        raise OSError(errno.ENOSYS, f"this OpenCV writes none of {' '.join(CODECS.values())}")

    def _release(self) -> None:
        if self._writer is not None:
            self._writer.release()
            self._writer = None

    def _check(self) -> None:
        """Spoil what is not whole, and let go of the film then; the writer says nothing of a full disk."""
        self._release()
        if self._video is None:
            self.spoil("the camera gave no pictures")
        elif not self.spoilt and _frames(self._video) != len(self._times_s):
            self.spoil("only a part of the film could be written")
        if self.spoilt:
            remove(self._part)


def _frames(video: Path) -> int:
    capture = cv2.VideoCapture(str(video))
    frames = int(capture.get(cv2.CAP_PROP_FRAME_COUNT))
    capture.release()
    return frames


def _events(tallies: Iterable[Tally], about: About, first_s: float) -> Iterator[str]:
    """Yield the crossings of the minute as `count` writes those of its film."""
    end_s = about.up_s + about.seconds
    for tally in tallies:
        for crossing in tally.crossings:
            at_s = tally.up_s + crossing.at_s
            if about.up_s <= at_s < end_s:
                yield event(replace(crossing, at_s=max(0.0, at_s - first_s)))


def _lines(texts: Iterable[str]) -> str:
    return "".join(f"{text}\n" for text in texts)


def _why(error: Exception) -> str:
    return str((error.strerror if isinstance(error, OSError) else None) or error)
