"""What keeps people from being told, in words: a host that is not at work, an address that takes nothing. Pure."""

from datetime import datetime, timedelta
from typing import NamedTuple

from swapbell_host.alerting.outbox import Waiting

# Our choice: three signs of life that did not come are no accident.
STILL = timedelta(minutes=3)


class Pulse(NamedTuple):
    """When the host was last there, aware UTC, and what keeps it from its whole work; nothing if all works."""

    beat_at: datetime
    trouble: str | None


def pulse_words(pulse: Pulse, now: datetime) -> str | None:
    """Say that the host gives no sign of life, or what it says is wrong; nothing if all works."""
    if now - pulse.beat_at > STILL:
        return f"the host gives no sign of life since {_utc(pulse.beat_at)}: nothing is judged, and nobody is told"
    return f"the host is not at work: {pulse.trouble}" if pulse.trouble else None


def unreached_words(waiting: Waiting) -> str:
    """Say whose address takes nothing, since when."""
    since = f"{_utc(waiting.made_at)} (tries: {waiting.tries})"
    return f"{waiting.person} takes no message since {since}; see to the address"


def _utc(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M} UTC"
