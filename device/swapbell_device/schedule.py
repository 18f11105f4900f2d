"""When a station sleeps: outside the foraging hours of its place, when the absence of wasps means nothing."""

from datetime import datetime, timedelta

from swapbell_models.calendar.daylight import nights
from swapbell_models.calendar.place import Place

# Our choice: the camera has found its exposure, and the counter knows its view, before the first wasp is due.
EARLY = timedelta(minutes=5)
# Our choice: a sleep is looked at anew after so long, wherever the sun stays down.
LONGEST = timedelta(hours=12)


def wakes_at(place: Place, at: datetime) -> datetime | None:
    """Return when a station that should sleep at a moment (aware) is to wake; nothing if it should be awake."""
    found = nights(place, at, at + LONGEST + EARLY)
    if not found or found[0][0] > at:
        return None
    ends_at = found[0][1] - EARLY
    return ends_at if ends_at > at else None
