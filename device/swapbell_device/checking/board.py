"""What the board can tell of itself: its clock, its disk, its heat, its power."""

import shutil
from collections.abc import Iterator
from pathlib import Path

from swapbell_device.checking.finding import Finding, Grade, graded
from swapbell_device.clock import knows_the_time
from swapbell_device.config import Config
from swapbell_device.health import temperature_c

# Our choice: a day of tallies and a log are a few megabytes; a disk this full is filled by something else.
FREE_LOOK_BYTES, FREE_FAIL_BYTES = 500e6, 50e6
# The processors of common boards slow down from 80 to 85 degrees Celsius on (from memory).
HOT_LOOK_C, HOT_FAIL_C = 70.0, 85.0
# Where the firmware of a common board tells of its power, in hexadecimal: the lowest bit for now, the sixteenth after
# it for ever since it started (from memory).
POWER = Path("/sys/devices/platform/soc/soc:firmware/get_throttled")
LOW_NOW, LOW_ONCE = 0x1, 0x10000


def board_findings(config: Config) -> Iterator[Finding]:
    """Yield what the board tells; what it cannot tell is left out."""
    yield _clock(config)
    yield _disk(config)
    if (heat := temperature_c()) is not None:
        yield graded(
            "heat", heat, HOT_LOOK_C, HOT_FAIL_C, f"{heat:.0f} degrees Celsius", "shade it, and let air through"
        )
    if (power := _power()) is not None:
        yield power


def _clock(config: Config) -> Finding:
    if knows_the_time():
        return Finding("clock", Grade.FIT, "set by a time server")
    if config.trusts_clock:
        return Finding("clock", Grade.FIT, "the board's own is trusted")
    return Finding(
        "clock", Grade.LOOK, "not set by a time server yet; tallies are dated once it is: is there a network?"
    )


def _disk(config: Config) -> Finding:
    folder = config.spool.path.parent
    try:
        free = shutil.disk_usage(folder).free
    except OSError as error:
        return Finding("disk", Grade.FAIL, f"{folder}: {error.strerror}; create the folder of the spool")
    words = f"{free / 1e6:.0f} MB free at {folder}"
    return graded("disk", -free, -FREE_LOOK_BYTES, -FREE_FAIL_BYTES, words, "free some space")


def _power() -> Finding | None:
    try:
        flags = int(POWER.read_text(encoding="ascii"), 16)
    except (OSError, ValueError):
        return None
    if flags & LOW_NOW:
        return Finding("power", Grade.FAIL, "too low now; use a stronger supply or a shorter, thicker cable")
    if flags & LOW_ONCE:
        return Finding("power", Grade.LOOK, "was too low since the board started; look at supply, cable and battery")
    return Finding("power", Grade.FIT, "steady since the board started")
