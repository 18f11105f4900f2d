"""The eye of a station: the camera that its configuration names, and what it will show.

The wall clock is read here and nowhere else on the device.
"""

import sys
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from threading import Event
from typing import NamedTuple

from msgspec.structs import replace

from swapbell_device.camera import Camera, Clip, Frame, read_times
from swapbell_device.cameras.board import BoardCamera
from swapbell_device.cameras.live import WELL_S, Absence, Live, Lost, again_after_s, boot_clock
from swapbell_device.cameras.usb import UsbCamera
from swapbell_device.clock import knows_the_time
from swapbell_device.config import BoardSection, ClipCamera, Config, DrawnCamera, UsbSection
from swapbell_device.drawn import DrawnStation
from swapbell_device.moment import Moment
from swapbell_device.schedule import wakes_at
from swapbell_device.stationfile import StationFile, read_station
from swapbell_models.fault import Mistake

Watch = Callable[[Camera, StationFile], Iterable[Moment]]
Sleep = Callable[[], datetime | None]
# Our choice: a minute more or less of watching does not matter.
ASK_S = 60.0
# Our choice: a sleeper looks at its clock so often, for that may be set meanwhile.
NAP_S = 300.0


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


def eye(config: Config, stop: Event, since_s: float | None = None) -> tuple[Clip | DrawnStation | Live, StationFile]:
    """Return the camera that the configuration names, not opened yet if it is a live one, and where its gate lies.

    Raises
    ------
    Mistake
        If the clip, its times or the station file cannot be used.
    """
    if isinstance(config.camera, DrawnCamera):
        drawn = DrawnStation(config.camera.seed)
        return drawn, drawn.station
    assert config.station_file is not None
    return _camera(config.camera, stop, since_s), read_station(config.station_file)


def _camera(section: ClipCamera | BoardSection | UsbSection, stop: Event, since_s: float | None) -> Clip | Live:
    if isinstance(section, ClipCamera):
        return Clip(section.path, None if section.times is None else read_times(section.times))
    return Live(source(section), stop, boot_clock, since_s)


def dated(config: Config, camera: Clip | DrawnStation, now_at: datetime) -> Config:
    """Return the configuration with the time of day of the first frame filled in; see `Config.starts_at`.

    Raises
    ------
    Mistake
        If that hangs on the length of a clip that does not tell it.
    """
    if config.starts_at is not None:
        return config
    assert isinstance(config.camera, ClipCamera | DrawnCamera)
    return replace(config, starts_at=now_at - (timedelta() if config.camera.pace == 1.0 else _length(camera)))


def _length(camera: Clip | DrawnStation) -> timedelta:
    seconds = camera.length_s if isinstance(camera, Clip) else float(camera.times_s[-1] + camera.times_s[1])
    if seconds <= 0.0:
        raise Mistake("the clip does not tell how long it is; give starts_at, the time of day of its first frame")
    return timedelta(seconds=seconds)


class Show(NamedTuple):
    """What a camera will show.

    Attributes
    ----------
    config
        The configuration, with the time of day of what comes first, as far as that is known.
    moments
        What comes.
    origin_s
        From when its times count, on the board's own clock [s]; nothing where they were recorded or are drawn.
    """

    config: Config
    moments: Iterable[Moment | Absence]
    origin_s: float | None = None


def moments(config: Config, watch: Watch, stop: Event, since_s: float | None = None) -> Show:
    """Return what the camera of a configuration will show.

    Parameters
    ----------
    config, watch, stop
        Which camera, how it is watched, and what ends that.
    since_s : float, optional
        From when its times count if it is a live one, on the board's own clock [s]; from now on unless given.

    Raises
    ------
    Mistake
        If the clip, its times or the station file cannot be used, or the gate lies outside the pictures.
    """
    camera, station = eye(config, stop, since_s)
    station.check_size(camera.size)
    if isinstance(camera, Live):
        begun = replace(config, starts_at=now() - timedelta(seconds=camera.now_s()))
        return Show(begun, watched(camera, station, watch, stop, _sleep(config)), camera.origin_s)
    assert isinstance(config.camera, ClipCamera | DrawnCamera)
    return Show(dated(config, camera, now()), watch(Paced(camera, config.camera.pace, stop), station))


def source(section: BoardSection | UsbSection) -> BoardCamera | UsbCamera:
    """Return the live camera that a configuration names."""
    size = section.width, section.height
    if isinstance(section, UsbSection):
        return UsbCamera(device=section.device, size=size, fps=section.fps, exposure_s=section.exposure_s)
    return BoardCamera(
        size=size,
        fps=section.fps,
        exposure_s=section.exposure_s,
        gain=section.gain,
        focus_per_m=section.focus_per_m,
        number=section.number,
    )


def _sleep(config: Config) -> Sleep:
    """Return what tells when a station that should sleep wakes; it never sleeps by a clock that it cannot trust."""
    place = config.place.place if config.place else None

    def wakes() -> datetime | None:
        return wakes_at(place, now()) if place and (config.trusts_clock or knows_the_time()) else None

    return wakes


def watched(
    camera: Live, station: StationFile, watch: Watch, stop: Event, wakes: Sleep = lambda: None
) -> Iterator[Moment | Absence]:
    """Yield what a live camera shows until someone says stop; where it is lost or asleep, that, until it opens again.

    Parameters
    ----------
    camera, station, watch, stop
        What is watched, where its gate lies, how, and what ends it.
    wakes : callable
        Returns when the station is to wake, aware UTC, if it should sleep now.
    """
    waits, said = again_after_s(), ""
    while not stop.is_set():
        if until_at := wakes():
            asleep = f"asleep until {until_at:%Y-%m-%d %H:%M} UTC"
            if asleep != said:
                said = asleep
                say(f"camera: {asleep}")
            yield from camera.absences(asleep, min((until_at - now()).total_seconds(), NAP_S), asleep=True)
            continue
        opened_s = time.monotonic()
        try:
            yield from _awake(watch(camera, station), wakes)
        except Lost as lost:
            if time.monotonic() - opened_s >= WELL_S:
                waits = again_after_s()
            wait_s = next(waits)
            say(f"camera: {lost}; it is opened again in {wait_s:g} s")
            yield from camera.absences(str(lost), wait_s)


def _awake(moments: Iterable[Moment], wakes: Sleep) -> Iterator[Moment]:
    """Yield moments until it is time to sleep."""
    next_s = 0.0
    for moment in moments:
        yield moment
        if moment.at_s >= next_s:
            next_s = moment.at_s + ASK_S
            if wakes():
                return


def now() -> datetime:
    """Return the time of day, aware UTC."""
    return datetime.now(UTC)
