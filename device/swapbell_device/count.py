"""Counting a clip: its crossings as JSON lines, and the picture of how they came about."""

import json
import os
import sys
from collections.abc import Callable, Generator, Iterable, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from swapbell_device.camera import Camera, Clip, read_times
from swapbell_device.moment import Moment
from swapbell_device.overlay import Overlay
from swapbell_device.stationfile import StationFile, read_station
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.tally import Crossing

Step = Callable[[], None]


@dataclass(frozen=True, slots=True)
class Wish:
    """What the command line asks for; None where it does not."""

    clip: Path
    station: Path
    events: Path | None
    times: Path | None
    video: Path | None


def count(wish: Wish, watch: Callable[[Camera, StationFile], Iterable[Moment]]) -> None:
    """Count a clip and write its events; nothing is left half-written.

    Raises
    ------
    Mistake
        If the clip, the station file or the times file cannot be used.
    Breakdown
        If a result cannot be written.
    """
    station = read_station(wish.station)
    times = None if wish.times is None else read_times(wish.times)
    clip = Clip(wish.clip, times)
    crossings: list[Crossing] = []
    with _video(wish.video, clip) as overlay, _progress(clip.frames_promised) as step:
        for moment in watch(clip, station):
            crossings.extend(moment.crossings)
            if overlay is not None:
                overlay.draw(moment, station)
            step()
    _write(wish.events, [event(crossing) for crossing in sorted(crossings, key=lambda c: c.at_s)])


def event(crossing: Crossing) -> str:
    """Return a crossing as the JSON line that outside checks rely on."""
    return json.dumps(
        {
            "t_s": round(crossing.at_s, 3),
            "direction": crossing.direction.value,
            "size": crossing.size.value,
            "length_mm": round(crossing.length_mm, 1),
        }
    )


def _write(path: Path | None, lines: Sequence[str]) -> None:
    text = "".join(f"{line}\n" for line in lines)
    if path is None:
        sys.stdout.write(text)
        return
    with whole(path) as part:
        part.write_text(text, encoding="utf-8")


@contextmanager
def whole(path: Path) -> Generator[Path]:
    """Yield a name beside `path` to write to; it becomes `path` only if all went well."""
    if not path.parent.is_dir():
        raise Mistake(f"{path}: the folder {path.parent} does not exist; create it or choose another place")
    part = path.with_name(f".{path.stem}.{os.getpid()}{path.suffix}")
    try:
        yield part
        part.replace(path)
    except OSError as error:
        raise Breakdown(
            f"{path}: cannot be written: {error.strerror}; free some space or choose another place"
        ) from error
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def _video(path: Path | None, clip: Clip) -> Generator[Overlay | None]:
    if path is None:
        yield None
        return
    with whole(path) as part, Overlay(part, clip.size, clip.per_s) as overlay:
        yield overlay


@contextmanager
def _progress(frames: int) -> Generator[Step]:
    if not sys.stderr.isatty():
        yield _nothing
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("counting", total=frames or None)
        yield lambda: progress.advance(task)


def _nothing() -> None:
    """No terminal, no bar."""
