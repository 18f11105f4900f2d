"""What is rehearsed, a drawn station or footage, and the configurations that play it."""

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from swapbell_host.rehearsal.broker import LOOPBACK

SITE, STATION = "rehearsal", "drawn"
# Our choice: fifteen minutes of traffic in twenty seconds, so that all is over within a minute on a slow machine too.
PACE = 45.0
# As long as a drawn station's traffic lasts.
DRAWN_LENGTH = timedelta(minutes=15)

HOST_FILE = """\
ledger = "ledger.sqlite"

[broker]
host = "{host}"
port = {port}

[[station]]
site = "{site}"
name = "{station}"
"""
STATION_FILE = """\
site = "{site}"
station = "{station}"
starts_at = {starts_at}
{view}
[camera]
{camera}

[broker]
host = "{host}"
port = {port}

[spool]
path = "spool.sqlite"
"""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawn station whose traffic builds up; invented, with its truth known."""

    seed: int
    title: str = "a rehearsal: drawn station, invented traffic, no insecticide anywhere"
    view: str = ""

    def camera(self) -> str:
        """Return the `[camera]` lines of the station's configuration."""
        return f'kind = "drawn"\nseed = {self.seed}\npace = {PACE}'


@dataclass(frozen=True, slots=True)
class Footage:
    """A clip with its station file, counted as fast as it goes; its truth is not known here."""

    clip: Path
    station_file: Path

    @property
    def title(self) -> str:
        """Return the words above its picture."""
        return f"a rehearsal on footage: {self.clip.name}"

    @property
    def view(self) -> str:
        """Return the line of the station's configuration that names the station file."""
        return f"station_file = {json.dumps(str(self.station_file.resolve()))}\n"

    def camera(self) -> str:
        """Return the `[camera]` lines of the station's configuration."""
        return f'kind = "clip"\npath = {json.dumps(str(self.clip.resolve()))}'


Play = Drawn | Footage


def write_configurations(play: Play, folder: Path, port: int, now: datetime) -> tuple[Path, Path]:
    """Write the host's and the station's configuration into the folder.

    Parameters
    ----------
    play : Drawn or Footage
        What the station watches.
    folder : Path
        Where everything of the rehearsal goes.
    port : int
        The broker's port on loopback.
    now : datetime
        Aware UTC. The station's time begins that much earlier that a drawn station's does not run ahead of ours.

    Returns
    -------
    (Path, Path)
        The host's file and the station's.
    """
    values = {"host": LOOPBACK, "port": port, "site": SITE, "station": STATION}
    starts_at = (now - DRAWN_LENGTH).isoformat(timespec="seconds")
    host, station = folder / "host.toml", folder / "station.toml"
    host.write_text(HOST_FILE.format(**values), encoding="utf-8")
    station.write_text(
        STATION_FILE.format(starts_at=starts_at, view=play.view, camera=play.camera(), **values), encoding="utf-8"
    )
    return host, station
