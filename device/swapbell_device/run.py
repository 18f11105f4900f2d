"""A station's watch: frames in, tallies through the spool to the broker, until the camera ends or someone says stop.

The wall clock is read here and nowhere else on the device.
"""

import signal
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from threading import Event
from uuid import uuid4

from msgspec.structs import replace

from swapbell_device.book import Book
from swapbell_device.camera import Camera, Clip, Frame, read_times
from swapbell_device.config import ClipCamera, Config
from swapbell_device.count import event
from swapbell_device.drawn import DrawnStation
from swapbell_device.health import Pulse
from swapbell_device.linking.delivery import PATIENT, Patience
from swapbell_device.linking.link import Link
from swapbell_device.moment import Moment
from swapbell_device.spooling.spool import Spool
from swapbell_device.stationfile import StationFile, read_station
from swapbell_models.fault import Breakdown, Mistake
from swapbell_models.tally import Clock

Watch = Callable[[Camera, StationFile], Iterable[Moment]]


def say(line: str) -> None:
    """Tell whoever runs the station one line, on stderr."""
    sys.stderr.write(f"{line}\n")
    sys.stderr.flush()


@dataclass(frozen=True, slots=True)
class Paced:
    """A camera whose recorded or drawn frames come no faster than `pace` seconds of theirs in one of ours.

    Attributes
    ----------
    camera : Camera
        Whose frames they are.
    pace : float
        0 is as fast as they can be counted.
    stop : Event
        Ends the frames.
    """

    camera: Camera
    pace: float
    stop: Event

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of every frame [px]."""
        return self.camera.size

    def frames(self) -> Iterator[Frame]:
        """Yield the frames in time order, each in its own time."""
        began_s = time.monotonic()
        for frame in self.camera.frames():
            early_s = frame.at_s / self.pace - (time.monotonic() - began_s) if self.pace > 0.0 else 0.0
            if self.stop.wait(max(0.0, early_s)):
                return
            yield frame


def eye(config: Config) -> tuple[Clip | DrawnStation, StationFile]:
    """Return the camera that the configuration names, and where its gate lies.

    Raises
    ------
    Mistake
        If the clip, its times or the station file cannot be used.
    """
    if isinstance(config.camera, ClipCamera):
        assert config.station_file is not None
        times = None if config.camera.times is None else read_times(config.camera.times)
        return Clip(config.camera.path, times), read_station(config.station_file)
    drawn = DrawnStation(config.camera.seed)
    return drawn, drawn.station


def dated(config: Config, camera: Clip | DrawnStation, now_at: datetime) -> Config:
    """Return the configuration with the time of day of the first frame filled in; see `Config.starts_at`.

    Raises
    ------
    Mistake
        If that hangs on the length of a clip that does not tell it.
    """
    if config.starts_at is not None:
        return config
    return replace(config, starts_at=now_at - (timedelta() if config.camera.pace == 1.0 else _length(camera)))


def _length(camera: Clip | DrawnStation) -> timedelta:
    seconds = camera.length_s if isinstance(camera, Clip) else float(camera.times_s[-1] + camera.times_s[1])
    if seconds <= 0.0:
        raise Mistake("the clip does not tell how long it is; give starts_at, the time of day of its first frame")
    return timedelta(seconds=seconds)


def truth(config: Config) -> Iterator[str]:
    """Yield the exact crossings of a drawn station as `count` would tell them if it made no error.

    Raises
    ------
    Mistake
        If the camera is not a drawn one.
    """
    if isinstance(config.camera, ClipCamera):
        raise Mistake('the truth is known of a drawn station only; give a configuration with camera.kind = "drawn"')
    yield from map(event, DrawnStation(config.camera.seed).truth)


def run_until_told(config: Config, watch: Watch) -> None:
    """Run the station until its camera ends, or until SIGTERM or SIGINT; see `run`."""
    stop = stop_on_signal()
    camera, station = eye(config)
    config, keep = dated(config, camera, now()), config.spool
    with Spool(keep.path, keep.keep_days, keep.keep_bytes, opened_at=now(), say=say) as spool:
        run(config, watch(Paced(camera, config.camera.pace, stop), station), stop, spool)


def run(config: Config, moments: Iterable[Moment], stop: Event, spool: Spool, patience: Patience = PATIENT) -> None:
    """Enter every moment in the book until there are no more, then deliver what is left.

    Parameters
    ----------
    config : Config
        The station's configuration.
    moments : iterable of Moment
        What each frame showed.
    stop : Event
        Whether someone said stop, and does not want to wait long.
    spool : Spool
        Where the tallies wait for their receipts.
    patience : Patience
        How long the link waits for what.

    Raises
    ------
    Mistake
        If the camera fails, or the broker's password or certificate cannot be read.
    Breakdown
        If the camera ended and tallies remain in the spool, or the spool was damaged.
    """
    started_at = (config.starts_at or now()).astimezone(UTC)
    book = Book(config.station, uuid4().hex, started_at, Clock.SYNCED, config.tally_s)
    pulse = Pulse(config.station, started_at, spool)
    with Link(config.broker, config.site, config.station, spool, pulse.health, say, patience) as link:
        try:
            _enter(moments, book, spool, pulse, link)
        except (Mistake, Breakdown) as fault:
            pulse.end(str(fault))
            link.finish(patience.stop_s)
            raise
        link.finish(patience.stop_s if stop.is_set() else patience.end_s)
    _tell_end(config, spool, stopped=stop.is_set())


def _enter(moments: Iterable[Moment], book: Book, spool: Spool, pulse: Pulse, link: Link) -> None:
    try:
        for moment in moments:
            for tally in book.add(moment.crossings, moment.frame.at_s, moment.look, covered=moment.covered):
                spool.put(tally)
            pulse.beat(moment.frame.at_s, moment.look)
            link.check()
    finally:
        for tally in book.close():
            spool.put(tally)


def stop_on_signal() -> Event:
    """Return an event that SIGTERM or SIGINT sets."""
    stop = Event()

    def end(_signal: int, _frame: object) -> None:
        stop.set()

    signal.signal(signal.SIGTERM, end)
    signal.signal(signal.SIGINT, end)
    return stop


def now() -> datetime:
    """Return the time of day, aware UTC."""
    return datetime.now(UTC)


def _tell_end(config: Config, spool: Spool, *, stopped: bool) -> None:
    """Tell of what is in the file; of what is not, the spool itself tells when it is closed."""
    spool.retry()
    name, safe, unsafe = f"{config.site}/{config.station}", spool.stored, spool.unstored
    if not safe and not unsafe:
        say(f"{name} ended; every tally is in the host's ledger")
    if not safe:
        return
    rest = (
        f"{name} ended with {safe} tallies without a receipt; they are safe in {spool.path} and sent on the next run"
    )
    if not stopped:
        raise Breakdown(rest)
    say(rest)
