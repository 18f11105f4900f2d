"""The station's own health, as it reports it; what cannot be read is left out, never zero.

Frames that a camera dropped are left out too: neither a clip nor a drawn station can know of any.
"""

import shutil
from datetime import datetime, timedelta
from pathlib import Path

from swapbell_device.spooling.spool import Spool
from swapbell_models.message import Health, StationState

# Linux, Documentation/ABI/testing/sysfs-class-thermal: millidegrees Celsius; on a board zone 0 is the processor.
THERMOMETER = Path("/sys/class/thermal/thermal_zone0/temp")
MILLI = 1e-3


class Pulse:
    """Follows the frames and the spool of one start of the counter.

    Parameters
    ----------
    station : str
        Whose health it is.
    started_at : datetime
        The moment from which frames count, aware UTC.
    spool : Spool
        Where its tallies wait.
    """

    def __init__(self, station: str, started_at: datetime, spool: Spool) -> None:
        self._station, self._started_at, self._spool = station, started_at, spool
        self._frames = self._frames_told = 0
        self._at_s = self._at_told_s = 0.0
        self._ended_by: str | None = None

    def beat(self, at_s: float) -> None:
        """Note a frame that was counted, taken at `at_s` [s]."""
        self._frames += 1
        self._at_s = at_s

    def end(self, reason: str) -> None:
        """Note the one line of what ended the run that did not end well."""
        self._ended_by = reason

    def health(self) -> Health:
        """Return the health now; its frame rate is that since the last time."""
        return Health(
            station=self._station,
            state=StationState.WATCHING,
            at=self._started_at + timedelta(seconds=self._at_s),
            reason=self._ended_by or self._spool.trouble,
            fps=self._fps(),
            temperature_c=_temperature_c(),
            disk_free_bytes=_free_bytes(self._spool.path.parent),
            spool_tallies=len(self._spool),
            spool_dropped=self._spool.dropped,
            oldest=self._spool.oldest(),
        )

    def _fps(self) -> float | None:
        frames, at_s = self._frames, self._at_s
        passed_s = at_s - self._at_told_s
        fps = round((frames - self._frames_told) / passed_s, 1) if passed_s > 0.0 else None
        self._frames_told, self._at_told_s = frames, at_s
        return fps


def _temperature_c() -> float | None:
    try:
        return round(float(THERMOMETER.read_text(encoding="ascii")) * MILLI, 1)
    except (OSError, ValueError):
        return None


def _free_bytes(folder: Path) -> int | None:
    try:
        return shutil.disk_usage(folder).free
    except OSError:
        return None
