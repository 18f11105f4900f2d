"""The counter's configuration file: the camera, the broker, the spool.

A minimal one::

    site = "orchard"
    station = "north"
    station_file = "north.toml"       # what calibration wrote

    [camera]
    kind = "clip"
    path = "morning.mp4"

    [broker]
    host = "192.0.2.10"

    [spool]
    path = "spool.sqlite"

Strict: an unknown key is a mistake, answered with the nearest one that is known. Relative paths count from the file's
own folder.
"""

from pathlib import Path
from typing import Annotated

import msgspec
from msgspec import Meta

from swapbell_models import settings
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.fault import Mistake
from swapbell_models.tally import AwareDatetime, Name

# IANA's registered port for MQTT.
MQTT_PORT = 1883
# Our choice: what a forager brings is told within a quarter of a minute, at some 5,760 small messages a day.
TALLY_S = 15.0

# Seconds of the station's time in one of ours; 0 is as fast as the frames can be counted.
Pace = Annotated[float, Meta(ge=0.0)]


class ClipCamera(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="clip"):
    """A recorded clip.

    Attributes
    ----------
    path, times
        The clip, and for one with uneven frames its capture times.
    pace
        As fast as it can be counted unless said otherwise.
    """

    path: Path
    times: Path | None = None
    pace: Pace = 0.0


class DrawnCamera(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="drawn"):
    """A drawn station, whose traffic is invented.

    Attributes
    ----------
    seed
        The same seed draws the same frames.
    pace
        Real time unless said otherwise.
    """

    seed: int = 1
    pace: Pace = 1.0


Pixels = Annotated[int, Meta(ge=16, le=8192)]
PerSecond = Annotated[float, Meta(gt=0.0, le=500.0)]
PositiveSeconds = Annotated[float, Meta(gt=0.0, le=1.0)]
# Our choice: what a lane of 25 to 60 mm needs, and what a small board counts with ease.
WIDTH_PX, HEIGHT_PX, FPS = 640, 480, 60.0


class BoardSection(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="board"):
    """A camera on the board's own connector.

    Attributes
    ----------
    exposure_s, gain, focus_per_m
        Held fixed; what is not said the camera finds when it starts, and then holds. Focus is the reciprocal of the
        distance [1/m].
    number
        Which one, where there are two.
    """

    width: Pixels = WIDTH_PX
    height: Pixels = HEIGHT_PX
    fps: PerSecond = FPS
    exposure_s: PositiveSeconds | None = None
    gain: Annotated[float, Meta(ge=1.0, le=64.0)] | None = None
    focus_per_m: Annotated[float, Meta(ge=0.0, le=50.0)] | None = None
    number: Annotated[int, Meta(ge=0, le=7)] = 0


class UsbSection(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="usb"):
    """A camera on USB.

    Attributes
    ----------
    exposure_s
        Held fixed; the camera finds its own, again and again, if it is not said.
    """

    device: Annotated[str, Meta(min_length=1)] = "/dev/video0"
    width: Pixels = WIDTH_PX
    height: Pixels = HEIGHT_PX
    fps: PerSecond = 30.0
    exposure_s: PositiveSeconds | None = None


class BrokerSection(msgspec.Struct, frozen=True, kw_only=True):
    """Where the broker is and how the station signs in.

    Attributes
    ----------
    password_file, ca_file
        A file that holds nothing but the password; the certificate of the authority that signed the broker's. With
        `ca_file` the connection is encrypted.
    most_bytes_per_s
        How much tallies may send on average [B/s], for a link that is paid by what it carries; no limit unless said.
    """

    host: Annotated[str, Meta(min_length=1)]
    port: Annotated[int, Meta(ge=1, le=65535)] = MQTT_PORT
    most_bytes_per_s: Annotated[float, Meta(ge=100.0)] | None = None
    username: str | None = None
    password_file: Path | None = None
    ca_file: Path | None = None


class SpoolSection(msgspec.Struct, frozen=True, kw_only=True):
    """Where tallies wait for their receipts, and how much may wait: a month or a gibibyte unless said otherwise."""

    path: Path
    keep_days: Annotated[float, Meta(gt=0.0)] = 30.0
    keep_bytes: Annotated[int, Meta(gt=0)] = 2**30


class EvidenceSection(msgspec.Struct, frozen=True, kw_only=True):
    """What is kept for the audit of the counts; nothing where the section is missing.

    Attributes
    ----------
    path
        A folder; `evidence` beside the spool unless said, where the counter's service may write.
    keep_bytes
        Most that it may hold [B]; the oldest make room.
    clips_a_day
        How many random minutes are filmed.
    """

    path: Path | None = None
    keep_bytes: Annotated[int, Meta(ge=1_000_000)] = 1_000_000_000
    clips_a_day: Annotated[int, Meta(ge=0, le=96)] = 4


class PlaceSection(msgspec.Struct, frozen=True, kw_only=True):
    """Where the station hangs: with it, a live camera sleeps outside the foraging hours there.

    Attributes
    ----------
    latitude_deg, longitude_deg, hemisphere
        See `swapbell_models.calendar.place.Place`; said twice, so that a lost minus sign is noticed.
    """

    latitude_deg: float
    longitude_deg: float
    hemisphere: Hemisphere

    @property
    def place(self) -> Place:
        """Where it hangs."""
        return Place(self.latitude_deg, self.longitude_deg, self.hemisphere)


class Config(msgspec.Struct, frozen=True, kw_only=True):
    """The whole file; every path in it is absolute.

    Attributes
    ----------
    station_file
        Where the gate lies; a drawn station knows its own.
    starts_at
        The time of day of the first frame. Unless it is said, a camera of pace 1 starts now; one of any other pace
        ends now, since it may run ahead of the clock and a host refuses what lies in the future.
    tally_s
        Length of a tally [s].
    trusts_clock
        Whether the board has a clock of its own that keeps the time of day, so that it need not wait to be told.
    """

    site: Name
    station: Name
    camera: ClipCamera | DrawnCamera | BoardSection | UsbSection
    broker: BrokerSection
    spool: SpoolSection
    station_file: Path | None = None
    starts_at: AwareDatetime | None = None
    tally_s: Annotated[float, Meta(ge=0.1, le=3600.0)] = TALLY_S
    trusts_clock: bool = False
    place: PlaceSection | None = None
    evidence: EvidenceSection | None = None


def read_config(path: Path) -> Config:
    """Read and check a configuration file.

    Raises
    ------
    Mistake
        If it cannot be read, is no TOML, has an unknown key or a value that cannot be.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise Mistake(f"configuration {path}: {error.strerror}; check the path") from error
    except UnicodeDecodeError as error:
        raise Mistake(f"configuration {path}: not a text file; it must be TOML in UTF-8") from error
    return parse_config(text, path)


def parse_config(text: str, path: Path) -> Config:
    """Check the text of a configuration file; relative paths in it count from the folder of `path`."""
    what, folder = f"configuration {path}", path.resolve().parent
    config = settings.parse(text, Config, what, dec_hook=lambda _, name: folder / name)
    if not isinstance(config.camera, DrawnCamera) and config.station_file is None:
        raise Mistake(f"{what}: this camera needs station_file, the file that says where its gate lies")
    if isinstance(config.camera, BoardSection | UsbSection) and config.starts_at is not None:
        raise Mistake(f"{what}: starts_at is for what was recorded or drawn; leave it out for this camera")
    try:
        _ = config.place and config.place.place
    except ValueError as error:
        raise Mistake(f"{what}: place: {error}") from error
    if config.broker.password_file is not None and config.broker.username is None:
        raise Mistake(f"{what}: broker.password_file needs broker.username beside it")
    return config


def password(broker: BrokerSection) -> str | None:
    """Return the station's password at the broker, if it has one.

    Raises
    ------
    Mistake
        If its file cannot be read.
    """
    if broker.password_file is None:
        return None
    try:
        return broker.password_file.read_text(encoding="utf-8").rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        raise Mistake(f"password file {broker.password_file}: {error}; it must hold the password alone") from error
