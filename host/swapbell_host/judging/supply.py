"""What a station runs on: charge, room and a cool head, by its own word, each with a dead-band against flapping."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from swapbell_host.judging.history import COUNTING, History, PastNotice
from swapbell_host.judging.look import Look
from swapbell_models.message import Health, StationState
from swapbell_models.notice import Notice, NoticeKind

_MB = 1e6


@dataclass(frozen=True, slots=True)
class Gauge:
    """One thing that a station needs, as a number that must not fall.

    Attributes
    ----------
    read
        Returns it; nothing where the station does not tell.
    low, enough
        Below the one it is told, and from the other on it is over.
    words
        What to say of the number, and what to do.
    """

    read: Callable[[Health], float | None]
    low: float
    enough: float
    words: str


def _battery(health: Health) -> float | None:
    return health.battery_percent


def _disk(health: Health) -> float | None:
    return None if health.disk_free_bytes is None else health.disk_free_bytes / _MB


def _coolness(health: Health) -> float | None:
    return None if health.temperature_c is None else -health.temperature_c


GAUGES = (
    # Our choice: a fifth, because a trip takes a day to fit in; enough is half as much again, which an evening's
    # sun does not give and take back.
    Gauge(_battery, 20.0, 30.0, "its battery is down to {:.0f} %: charge or change it"),
    # Our choice: some weeks of tallies, and the room that a system needs to start again; tidying frees more than half
    # as much again.
    Gauge(_disk, 200.0, 300.0, "its disk has {:.0f} MB left: make room, or it will lose counts"),
    # From 80 degrees Celsius on common boards slow their processor (their makers' documentation, from memory); ten
    # degrees are more than a cloud makes.
    Gauge(_coolness, -80.0, -70.0, "its processor is at {:.0f} C: give it shade and air, or it will lose frames"),
)


def low(look: Look) -> Notice | None:
    """Say what a station that counts is short of, by its last word; a voltage is kept, but not judged."""
    health, history = look.history.health, look.history
    told = list(short(health)) if health and history.phase in COUNTING else []
    return look.notice(NoticeKind.SUPPLY, look.now, f"{'; '.join(told)}.") if told else None


def short(health: Health) -> Iterator[str]:
    """Yield what to say of each gauge that is low."""
    for gauge in GAUGES:
        number = gauge.read(health)
        if number is not None and number < gauge.low:
            yield gauge.words.format(abs(number))


def is_enough(_past: PastNotice, history: History) -> bool:
    """Tell whether all that the station tells of is enough again; what it does not tell proves nothing."""
    health = history.health
    if history.phase not in COUNTING:
        return True
    if health is None or health.state is StationState.LOST:
        return False
    told = [(gauge.read(health), gauge.enough) for gauge in GAUGES]
    known = [number >= enough for number, enough in told if number is not None]
    return bool(known) and all(known)
