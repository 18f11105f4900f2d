"""Replays a drawn scene through the real libcamera and picamera2, and tells what the counter makes of it.

    python3 board_replay.py FOLDER

Runs inside the root that `board.sh` makes. FOLDER holds `station.toml` and `frames/0.jpg` and on, which libcamera's
virtual camera replays. Prints one JSON object: what the camera sent and what was counted, beside what is counted of
the same pictures read from their files.

libcamera's virtual camera lacks what a board has. The stand-ins below are for that alone, and are handed to the
libraries from outside: their files, and the counter's, are as installed.
"""

import json
import mmap
import os
import sys
import types
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from threading import Event
from typing import Any

import cv2
import numpy as np

FPS = 30.0
DESCRIBED = Path("/usr/share/libcamera/pipeline/virtual/virtual.yaml")
DESCRIPTION = """\
"Virtual0":
  supported_formats:
  - width: {width}
    height: {height}
    frame_rates:
    - {fps:.0f}
    - {fps:.0f}
  frames:
    path: "{frames}/"
  location: "CameraLocationFront"
  model: "Virtual Video Device"
"""


def stand_in(size: tuple[int, int]) -> None:
    """Give picamera2 what is missing without a board."""
    _absent("pykms", PixelFormat=_AnyName())
    _absent("pidng")
    _absent("pidng.camdefs", Picamera2Camera=object)
    _absent("pidng.core", PICAM2DNG=object)
    import libcamera
    import picamera2.picamera2 as library

    # A frame's metadata reads as rubbish there, and picamera2 leaves out what is not a success.
    success = types.SimpleNamespace(status=libcamera.FrameMetadata.Status.Success)
    libcamera.FrameBuffer.metadata = property(lambda _buffer: success)
    library.DmaAllocator = _memory_allocator()
    # The virtual camera has no raw stream.
    library.Picamera2._get_raw_modes = lambda _camera: [{"format": "NV12", "size": size}]


class _AnyName:
    def __getattr__(self, name: str) -> str:
        return name


def _absent(name: str, **content: object) -> None:
    sys.modules[name] = types.ModuleType(name)
    vars(sys.modules[name]).update(content)


def _memory_allocator() -> type:
    """Return picamera2's allocator on ordinary memory, in the two planes that the virtual camera wants."""
    import libcamera
    from picamera2.allocators.dmaallocator import DmaAllocator

    def start(own: Any) -> None:
        own.mapped_buffers, own.frame_buffers, own.open_fds, own.sync = {}, {}, [], _MemorySync

    def allocate(own: Any, configs: Any, _use_case: object) -> None:
        for config in configs:
            own.frame_buffers[config.stream] = [buffer(own, config) for _ in range(config.buffer_count)]

    def buffer(own: Any, config: Any) -> Any:
        size, luma = config.frame_size, config.stride * config.size.height
        file = os.memfd_create("frame")
        os.ftruncate(file, size)
        planes = [libcamera.FrameBuffer.Plane(), libcamera.FrameBuffer.Plane()]
        for plane, offset, length in zip(planes, (0, luma), (luma, size - luma), strict=True):
            plane.fd, plane.offset, plane.length = file, offset, length
        made = libcamera.FrameBuffer(planes)
        own.mapped_buffers[made] = mmap.mmap(file, size)
        return made

    idle = dict.fromkeys(("acquire", "release", "cleanup", "close"), lambda *_: None)
    return type("MemoryAllocator", (DmaAllocator,), {"__init__": start, "allocate": allocate, **idle})


class _MemorySync:
    """Hands out a frame's memory; ordinary memory needs no synchronising."""

    def __init__(self, allocator: Any, buffer: Any, _write: bool) -> None:
        self._memory = allocator.mapped_buffers[buffer]

    def __enter__(self) -> mmap.mmap:
        return self._memory

    def __exit__(self, *_: object) -> None:
        return None

    def get_buffer(self) -> mmap.mmap:
        """Return the memory."""
        return self._memory


def replayed(folder: Path, size: tuple[int, int]) -> tuple[list[Any], list[int], list[float]]:
    """Return the pictures that the board's camera gave, how often each came in a row, and all times.

    The virtual camera sends as fast as it can, far faster than any sensor, so the camera's queue is made long.
    """
    from swapbell_device.cameras import board
    from swapbell_device.cameras.live import Live, boot_clock

    board.QUEUE_FRAMES = 100_000
    stop, wanted = Event(), len(list(folder.iterdir()))
    camera = Live(board.BoardCamera(size=size, fps=FPS), stop, boot_clock)
    pictures, repeats, times_s = [], [], []
    for frame in camera.frames():
        if pictures and np.array_equal(frame.image, pictures[-1]):
            repeats[-1] += 1
        elif len(pictures) == wanted:
            break
        else:
            pictures.append(frame.image)
            repeats.append(1)
        times_s.append(frame.at_s)
    return pictures, repeats, times_s


class Pictures:
    """Pictures as a camera, at the pace at which the scene was drawn."""

    def __init__(self, pictures: list[Any]) -> None:
        self._pictures, self.size = pictures, tuple(reversed(pictures[0].shape))

    def frames(self) -> Iterator[Any]:
        """Yield the pictures in their order."""
        from swapbell_device.camera import Frame

        for number, picture in enumerate(self._pictures):
            yield Frame(picture, number / FPS)


def counted(pictures: list[Any], folder: Path) -> list[dict[str, object]]:
    """Return the events of pictures."""
    from swapbell_device.count import event
    from swapbell_device.main import watch
    from swapbell_device.stationfile import read_station

    moments = watch(Pictures(pictures), read_station(folder / "station.toml"))
    return [json.loads(event(crossing)) for moment in moments for crossing in moment.crossings]


def main(folder: Path) -> None:
    """Replay, count both ways, and print."""
    frames = folder / "frames"
    stills = [cv2.imread(str(frames / f"{n}.jpg"), cv2.IMREAD_GRAYSCALE) for n in range(len(list(frames.iterdir())))]
    height, width = stills[0].shape
    DESCRIBED.parent.mkdir(parents=True, exist_ok=True)
    DESCRIBED.write_text(DESCRIPTION.format(width=width, height=height, fps=FPS, frames=frames))
    stand_in((width, height))
    pictures, repeats, times_s = replayed(frames, (width, height))
    told = {
        "replayed": len(stills),
        "pictures": len(pictures),
        "repeats": sorted(set(repeats)),
        "times_grow": all(later > earlier for earlier, later in pairwise(times_s)),
        "worst_level": max(float(np.abs(a.astype(int) - b).mean()) for a, b in zip(pictures, stills, strict=False)),
        "live": counted(pictures, folder),
        "stills": counted(stills, folder),
    }
    sys.stdout.write(json.dumps(told))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
