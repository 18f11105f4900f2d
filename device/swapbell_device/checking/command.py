"""What the command `check` does."""

import json
from collections.abc import Sequence
from threading import Event

from swapbell_device.camera import Camera
from swapbell_device.cameras.live import Live, boot_clock
from swapbell_device.checking.board import board_findings
from swapbell_device.checking.finding import Finding, table
from swapbell_device.checking.reach import reach_findings
from swapbell_device.checking.view import view_findings
from swapbell_device.config import BoardSection, Config, UsbSection
from swapbell_device.eye import eye, source
from swapbell_device.stationfile import StationFile, read_station


def check(config: Config) -> list[Finding]:
    """Return what every check found.

    Raises
    ------
    Mistake
        If the station file or a clip cannot be used.
    """
    return [*view_findings(config, *_sight(config)), *board_findings(config), *reach_findings(config)]


def _sight(config: Config) -> tuple[Camera, StationFile]:
    if isinstance(config.camera, BoardSection | UsbSection):
        assert config.station_file is not None
        return Live(source(config.camera), Event(), boot_clock), read_station(config.station_file)
    return eye(config.camera, config.station_file)


def lines(findings: Sequence[Finding], as_json: bool) -> list[str]:
    """Return the findings as lines for a person, or as one JSON object each."""
    if not as_json:
        return table(findings)
    return [
        json.dumps({"about": found.about, "grade": found.grade.value, "words": found.words}) for found in findings
    ]
