"""Counting a clip: its crossings as JSON lines, and the picture of how they came about."""

import json
import os
import sys
from collections import Counter
from collections.abc import Callable, Generator, Iterable, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import typer

from swapbell_device.book import Book
from swapbell_device.camera import Camera, Clip, read_times
from swapbell_device.moment import Moment
from swapbell_device.overlay import Overlay
from swapbell_device.stationfile import StationFile, read_station
from swapbell_models.fault import EXIT_INTERRUPTED, Breakdown, Mistake
from swapbell_models.tally import Clock, Crossing, Tally

Watch = Callable[[Camera, StationFile], Iterable[Moment]]

# Our choice: drawing the bar costs about as much as counting a frame.
BAR_FRAMES = 30
# Containers that take the overlay's codec in every build of OpenCV that was tried.
VIDEO_ENDINGS = (".mp4", ".mov", ".mkv", ".avi")


@dataclass(frozen=True, slots=True)
class Wish:
    """What the command line asks for; None where it does not."""

    clip: Path
    station: Path
    events: Path | None
    times: Path | None
    video: Path | None

    def check(self) -> None:
        """Refuse results that cannot be written, or that would overwrite what is read or each other."""
        taken = {"the clip": self.clip, "the station file": self.station, "the times file": self.times}
        for option, result in (("--events", self.events), ("--video", self.video)):
            if result is None:
                continue
            for what, other in taken.items():
                if other is not None and is_same(result, other):
                    raise Mistake(f"{option} {result}: that is {what}; choose another name")
            check_place(result)
            taken[f"the file of {option}"] = result
        if self.video is not None and self.video.suffix.lower() not in VIDEO_ENDINGS:
            raise Mistake(f"--video {self.video}: end its name in one of {' '.join(VIDEO_ENDINGS)}")


def count(wish: Wish, watch: Watch) -> None:
    """Count a clip and write its events; nothing is left half-written.

    Raises
    ------
    Mistake
        If the clip, the station file or the times file cannot be used, or a result has no place.
    Breakdown
        If a result cannot be written.
    SystemExit
        If Ctrl-C ends it.
    """
    wish.check()
    try:
        _count(wish, watch)
    except KeyboardInterrupt:
        sys.stderr.write(f"counting {wish.clip} was interrupted; nothing is written\n")
        raise SystemExit(EXIT_INTERRUPTED) from None


def _count(wish: Wish, watch: Watch) -> None:
    station = read_station(wish.station)
    times = None if wish.times is None else read_times(wish.times)
    clip = Clip(wish.clip, times)
    crossings: list[Crossing] = []
    book, told = Book("clip", "clip", datetime.fromtimestamp(0.0, UTC), Clock.FREE), list[Tally]()
    with _video(wish.video, clip) as overlay, shown(watch(clip, station), clip.frames_promised) as moments:
        for moment in moments:
            crossings.extend(moment.crossings)
            told += book.add((), moment.frame.at_s, moment.look, covered=moment.covered)
            if overlay is not None:
                overlay.draw(moment, station)
    _write(wish.events, [event(crossing) for crossing in sorted(crossings, key=lambda c: c.at_s)])
    _tell_blind(wish.clip, [*told, *book.close()])


def _tell_blind(clip: Path, told: Sequence[Tally]) -> None:
    """Tell for how long the clip could not be counted, and why."""
    blind_s: Counter[str] = Counter()
    for tally in told:
        if tally.sight and tally.sight.hindrance:
            blind_s[tally.sight.hindrance.value] += round(tally.sight.blind_s or 0.0)
    if why := ", ".join(f"{name} {seconds} s" for name, seconds in blind_s.most_common()):
        whole_s = sum(tally.seconds for tally in told)
        sys.stderr.write(
            f"{clip}: for {blind_s.total()} of {whole_s:.0f} s nobody can count at such a view ({why}); "
            "that few or none were counted then proves nothing\n"
        )


def event(crossing: Crossing) -> str:
    """Return a crossing as the JSON line that outside checks rely on; its confidence follows where it is known."""
    line: dict[str, object] = {
        "t_s": round(crossing.at_s, 3),
        "direction": crossing.direction.value,
        "size": crossing.size.value,
        "length_mm": round(crossing.length_mm, 1),
    }
    if crossing.confidence is not None:
        line["confidence"] = round(crossing.confidence, 2)
    return json.dumps(line)


def is_same(one: Path, other: Path) -> bool:
    """Tell whether two paths are one file, or would be."""
    return one.resolve() == other.resolve() or (one.exists() and other.exists() and one.samefile(other))


def _write(path: Path | None, lines: Sequence[str]) -> None:
    text = "".join(f"{line}\n" for line in lines)
    if path is None:
        sys.stdout.write(text)
        return
    with whole(path) as part:
        part.write_text(text, encoding="utf-8")


def check_place(path: Path) -> None:
    """Refuse a name under which no file can be written.

    Raises
    ------
    Mistake
        If it is a folder or a device, or lies in no folder or in one that may not be written to.
    """
    if path.exists() and not path.is_file():
        kind = "a folder; name a file in it" if path.is_dir() else "no ordinary file; choose another name"
        raise Mistake(f"{path}: this is {kind}")
    if not path.parent.is_dir():
        raise Mistake(f"{path}: the folder {path.parent} does not exist; create it or choose another place")
    if not os.access(path.parent, os.W_OK | os.X_OK):
        raise Mistake(f"{path}: the folder {path.parent} may not be written to; choose another place")


@contextmanager
def whole(path: Path) -> Generator[Path]:
    """Yield a name beside `path` to write to; it becomes `path` only if all went well."""
    check_place(path)
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


def shown(moments: Iterable[Moment], frames: int) -> AbstractContextManager[Iterable[Moment]]:
    """Return the moments with a bar on the terminal; where stderr leads elsewhere, no bar."""
    return typer.progressbar(
        moments,
        length=frames or None,
        label="counting",
        hidden=not sys.stderr.isatty(),
        file=sys.stderr,
        update_min_steps=BAR_FRAMES,
    )
