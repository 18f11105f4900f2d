"""Which minutes are filmed: one at random in each equal part of a station's day, so that nobody can steer the sample.

Every whole minute of a part is as likely as any other. The choice follows from a seed that the store was begun with,
so that a counter that starts anew neither draws again nor films a part twice; who does not know it cannot foresee it.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import count

from swapbell_models.calendar.daylight import daylight
from swapbell_models.calendar.place import Place
from swapbell_models.evidence import MINUTE_S, Draw

DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Chosen:
    """A minute to be filmed: when it begins, since the start of the counter [s], and how it was drawn."""

    start_s: float
    draw: Draw


def next_choice(
    seed: str, parts: int, after_s: float, boot: str, place: Place | None, started_at: datetime | None
) -> Chosen | None:
    """Return the first minute to be filmed that begins after a moment.

    Parameters
    ----------
    seed : str
        Of the store.
    parts : int
        How many clips a day; none if 0.
    after_s : float
        Since the start of the counter [s].
    boot : str
        Which start of the counter.
    place : Place or None
        With it and the time of day, the parts are those of the foraging hours of a day; else of every 24 h since the
        start of the counter.
    started_at : datetime or None
        The moment from which seconds count, aware UTC, if the counter knows the time of day.
    """
    if parts <= 0:
        return None
    return next(
        chosen
        for name, from_s, seconds in (
            _days(place, started_at, after_s) if place and started_at else _of_running(boot, after_s)
        )
        for chosen in _drawn(seed, name, from_s, seconds, parts)
        if chosen.start_s > after_s
    )


def _of_running(boot: str, after_s: float) -> Iterator[tuple[str, float, float]]:
    """Yield each day of running: its name, when it begins [s] and how long it is [s]."""
    return ((f"{boot}+{n}", n * DAY_S, DAY_S) for n in count(int(after_s // DAY_S)))


def _days(place: Place, started_at: datetime, after_s: float) -> Iterator[tuple[str, float, float]]:
    """Yield each day's name, when its foraging hours begin [s] and how long they are [s]."""
    first = (started_at + timedelta(seconds=after_s)).astimezone(place.mean_time).date() - timedelta(days=1)
    for n in count():
        on: date = first + timedelta(days=n)
        if hours := daylight(place, on).foraging:
            from_at, to_at = hours
            yield on.isoformat(), (from_at - started_at).total_seconds(), (to_at - from_at).total_seconds()


def _drawn(seed: str, day: str, from_s: float, seconds: float, parts: int) -> Iterator[Chosen]:
    """Yield the minute of each part of a day."""
    length_s = seconds / parts
    minutes = int(length_s // MINUTE_S)
    for part in range(parts) if minutes else ():
        minute = random.Random(f"{seed}/{day}/{part + 1}/{parts}").randrange(minutes)  # noqa: S311  (no secret)
        draw = Draw(seed=seed, day=day, part=part + 1, parts=parts, minute=minute, minutes=minutes)
        yield Chosen(from_s + part * length_s + minute * MINUTE_S, draw)
