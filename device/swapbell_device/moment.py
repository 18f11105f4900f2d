"""What the counter knows at one frame, and the opening of a recording that it learns from."""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

from swapbell_device.camera import Frame
from swapbell_device.following.track import Blob, Track
from swapbell_device.look import Look
from swapbell_models.tally import Crossing

# Our choice: long enough to see past walking bodies, and a board can hold that much.
OPENING_S = 2.0
OPENING_BYTES = 8_000_000


@dataclass(frozen=True, slots=True)
class Moment:
    """One frame, what was found in it, the crossings that became certain with it, and a look at it if one was due.

    `covered` tells that something larger than an insect is in the view, so that nothing is counted.
    """

    frame: Frame
    blobs: list[Blob]
    tracks: list[Track]
    crossings: list[Crossing]
    look: Look | None = None
    covered: bool = False

    @property
    def at_s(self) -> float:
        """When the frame was taken [s]."""
        return self.frame.at_s


def opened(frames: Iterator[Frame]) -> tuple[list[Frame], Iterator[Frame]]:
    """Return the first frames, to learn from, and all frames, those included.

    Parameters
    ----------
    frames : iterator of Frame
        In time order; it is read ahead by at most two seconds or 8 MB.
    """
    opening: list[Frame] = []
    held = 0
    for frame in frames:
        opening.append(frame)
        held += frame.image.nbytes
        if frame.at_s - opening[0].at_s >= OPENING_S or held >= OPENING_BYTES:
            break
    return opening, itertools.chain(_let_go(list(opening)), frames)


def _let_go(opening: list[Frame]) -> Iterator[Frame]:
    opening.reverse()
    while opening:
        yield opening.pop()
