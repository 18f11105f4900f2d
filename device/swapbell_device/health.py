"""The station's own health, as it reports it; what cannot be read is left out, never zero."""

import shutil
from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from swapbell_device.look import Attention, Look
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
        self._attention = Attention()
        self._dropped: int | None = None
        self._look: Look | None = None
        self._ended_by: str | None = None
        self._absent: str | None = None
        self._asleep = False
        self._checks: tuple[str, ...] = ()

    def beat(self, at_s: float, look: Look | None = None) -> None:
        """Note a frame that was counted, taken at `at_s` [s], and the look at it if one was due."""
        self._frames += 1
        self._at_s, self._absent = at_s, None
        if look is not None:
            self._attention.note(look)
            self._look = look
            self._dropped = (self._dropped or 0) + look.dropped

    def miss(self, at_s: float, reason: str, *, asleep: bool = False) -> None:
        """Note that there is no picture at `at_s` [s], why, and whether the station is meant to sleep."""
        self._at_s, self._absent, self._asleep = at_s, reason, asleep
        self._look = None

    def note_checks(self, amiss: Iterable[str]) -> None:
        """Note what a look at the board found amiss, a line each."""
        self._checks = tuple(amiss)

    def set_clock(self, started_at: datetime) -> None:
        """Learn the time of day: the moment from which frames count, aware UTC."""
        self._started_at = started_at

    @property
    def state(self) -> StationState:
        """Whether the counter watches, sleeps or is blind, as its health says."""
        if self._absent and self._asleep:
            return StationState.ASLEEP
        return StationState.BLIND if self._blind() else StationState.WATCHING

    def end(self, reason: str) -> None:
        """Note the one line of what ended the run that did not end well."""
        self._ended_by = reason

    def health(self) -> Health:
        """Return the health now; its frame rate is that since the last time."""
        blind = self._blind()
        return Health(
            station=self._station,
            state=self.state,
            at=self._started_at + timedelta(seconds=self._at_s),
            reason=self._ended_by or self._spool.trouble or blind,
            fps=self._fps(),
            dropped_frames=self._dropped,
            temperature_c=temperature_c(),
            disk_free_bytes=_free_bytes(self._spool.path.parent),
            spool_tallies=len(self._spool),
            spool_dropped=self._spool.dropped,
            exposure_s=self._look.exposure_s if self._look else None,
            sharpness=_rounded(self._look.sharpness) if self._look else None,
            version=installed(),
            checks=self._checks,
            oldest=self._spool.oldest(),
        )

    def _blind(self) -> str | None:
        """Return what keeps the counter from counting: a lost camera, a spoiled view; nothing if nothing does."""
        hindrance = self._attention.hindrance
        return self._absent or (f"cannot count: {hindrance.value}" if hindrance else None)

    def _fps(self) -> float | None:
        frames, at_s = self._frames, self._at_s
        passed_s = at_s - self._at_told_s
        fps = round((frames - self._frames_told) / passed_s, 1) if passed_s > 0.0 else None
        self._frames_told, self._at_told_s = frames, at_s
        return fps


@cache
def installed() -> str | None:
    """Return which version of the counter this is, where it was installed and not only copied."""
    try:
        return version("swapbell")
    except PackageNotFoundError:
        return None


def _rounded(sharpness: float | None) -> float | None:
    return None if sharpness is None else max(round(sharpness, 1), 0.1)


def temperature_c() -> float | None:
    """Return the processor's temperature [degrees Celsius], where the board tells it."""
    try:
        return round(float(THERMOMETER.read_text(encoding="ascii")) * MILLI, 1)
    except (OSError, ValueError):
        return None


def _free_bytes(folder: Path) -> int | None:
    try:
        return shutil.disk_usage(folder).free
    except OSError:
        return None
