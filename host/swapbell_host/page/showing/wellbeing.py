"""What a station says of itself, in words and units that a person reads."""

from collections.abc import Callable, Iterator
from typing import Any

from swapbell_models.focus import focus_words
from swapbell_models.message import Health


def wellbeing(said: Health) -> list[tuple[str, str]]:
    """Return what a station's word holds; what it does not say is not there."""
    return list(_said(said))


def _said(said: Health) -> Iterator[tuple[str, str]]:
    yield "state", said.state.value
    for name, (label, words) in FIELDS.items():
        if (value := getattr(said, name)) is not None:
            yield label, words(value)
    yield from (("it found in itself", line) for line in said.checks)


def _in(form: str) -> Callable[[Any], str]:
    return form.format


def _size(size_bytes: int) -> str:
    return f"{size_bytes / 1e9:.1f} GB" if size_bytes >= 10**9 else f"{size_bytes / 1e6:.0f} MB"


def _exposure(seconds: float) -> str:
    return f"{1000.0 * seconds:.1f} ms"


# In the order in which somebody looks for a fault: why, power, room, what waits, the picture.
FIELDS: dict[str, tuple[str, Callable[[Any], str]]] = {
    "reason": ("because", _in("{}")),
    "battery_percent": ("battery", _in("{:.0f} %")),
    "battery_v": ("battery voltage", _in("{:.1f} V")),
    "temperature_c": ("temperature of the board", _in("{:.0f} °C")),
    "disk_free_bytes": ("free on its disk", _size),
    "spool_tallies": ("tallies that wait to be sent", _in("{}")),
    "spool_dropped": ("tallies that it has dropped", _in("{}")),
    "fps": ("frames per second", _in("{:.1f}")),
    "dropped_frames": ("frames that did not come", _in("{}")),
    "exposure_s": ("exposure", _exposure),
    "sharpness": ("view", focus_words),
    "version": ("version of its program", _in("{}")),
}
