"""How fast somebody may guess at passwords: a few tries are free, then each wait is twice as long as the one before.

A browser that signed in by a name before is counted by itself, so that nobody else can shut it out; a stranger by
where they come from with that name, by where they come from, and by the name (after OWASP, "Slow Down Online Guessing
Attacks with Device Cookies"). All is forgotten bit by bit: who keeps guessing gets on at the pace of forgetting.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from hashlib import sha256
from ipaddress import IPv6Address, ip_address, ip_network

NOTHING = timedelta()
# NIST SP 800-63B (2017), 5.2.2 (from memory): waits that grow from 30 s up to an hour, for example.
FIRST_WAIT = timedelta(seconds=30)
# Our choice: a flood of made-up names takes a few megabytes at most; the longest quiet are forgotten first.
KEYS_MAX = 10_000
# RFC 6177: a site gets up to a /48 of IPv6, so whoever has one has 65,536 networks to come from.
SITE_BITS = 48


@dataclass(frozen=True, slots=True)
class Pace:
    """How many tries are free, the longest wait after them, and after how long each is forgotten."""

    free: int
    longest: timedelta
    forgets: timedelta

    def wait(self, count: float) -> timedelta:
        """Return how long to wait after so many tries."""
        over = round(count) - self.free
        return min(FIRST_WAIT * 2 ** min(over, 20), self.longest) if over >= 0 else NOTHING


# A person who mistypes succeeds within five tries (our choice); later they are 24 a day.
PAIR = Pace(5, timedelta(hours=1), timedelta(hours=1))
# Our choice: a whole crew comes from the address of one phone; later 96 a day, whatever the names.
PLACE = Pace(20, timedelta(minutes=15), timedelta(minutes=15))
# NIST SP 800-63B (2017), 5.2.2: not more than 100 failures of one account; our choice: later 96 a day, not none.
NAME = Pace(100, timedelta(minutes=15), timedelta(minutes=15))

Track = tuple[Pace, str]


def tracks(name: str, address: str, browser: str | None) -> tuple[Track, ...]:
    """Return under what a try is counted, first what somebody who signs in is forgiven.

    Parameters
    ----------
    browser : str, optional
        Which browser it is that signed in by this name before; nothing for a stranger.
    """
    who = sha256(name.encode("utf-8", "surrogatepass")).hexdigest()
    if browser is not None:
        return ((PAIR, f"{who} in {browser}"),)
    where = neighbourhood(address)
    return (PAIR, f"{who} from {where}"), (PLACE, where), (NAME, who)


def neighbourhood(address: str) -> str:
    """Return what somebody can come from: an IPv4 address, or a whole site's networks of IPv6."""
    try:
        found = ip_address(address)
    except ValueError:
        return address
    if not isinstance(found, IPv6Address):
        return str(found)
    return str(found.ipv4_mapped or ip_network((int(found), SITE_BITS), strict=False))


@dataclass(frozen=True, slots=True)
class _Tried:
    """How many tries are not forgotten yet, when the last was, and how long it makes the next one wait."""

    count: float
    at: datetime
    wait: timedelta


class Tries:
    """The failures that are not forgotten yet; a restart forgets them all, as it takes seconds itself."""

    def __init__(self) -> None:
        self._tried: dict[Track, _Tried] = {}

    def wait(self, tracks: tuple[Track, ...], now: datetime) -> timedelta:
        """Return how long somebody must wait before they may try again; nothing if they may now."""
        return max(self._left(track, now) for track in tracks)

    def count(self, tracks: tuple[Track, ...], now: datetime) -> None:
        """Count a try at `now` (aware UTC), before it is known whether it fails: many may come at once."""
        for track in tracks:
            pace, count = track[0], self._count(track, now) + 1.0
            self._tried.pop(track, None)  # the latest stands at the end
            self._tried[track] = _Tried(count, now, pace.wait(count))
        while len(self._tried) > KEYS_MAX:
            del self._tried[next(iter(self._tried))]

    def forgive(self, tracks: tuple[Track, ...]) -> None:
        """Take back a try that did not fail, and all before it by the first track."""
        self._tried.pop(tracks[0], None)
        for track in tracks[1:]:
            if tried := self._tried.get(track):
                self._tried[track] = replace(tried, count=tried.count - 1.0, wait=NOTHING)

    def _count(self, track: Track, now: datetime) -> float:
        if (tried := self._tried.get(track)) is None:
            return 0.0
        return max(0.0, tried.count - max(NOTHING, now - tried.at) / track[0].forgets)

    def _left(self, track: Track, now: datetime) -> timedelta:
        tried = self._tried.get(track)
        if tried is None or tried.at > now:  # a clock that was set back must shut nobody out
            return NOTHING
        return max(NOTHING, tried.at + tried.wait - now)
