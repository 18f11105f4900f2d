"""How often somebody may fail to sign in, by name and by address."""

from collections import defaultdict, deque
from collections.abc import Iterable
from datetime import datetime, timedelta

# Our choice: a person who mistypes succeeds within ten tries; at 40 a hour nobody guesses a password of ten letters.
TRIES_MAX = 10
WINDOW = timedelta(minutes=15)
# Our choice: a flood of made-up names takes a few megabytes at most; the longest quiet are forgotten first.
KEYS_MAX = 10_000


class Tries:
    """The failures of the last quarter of an hour; a restart forgets them, as it takes seconds itself."""

    def __init__(self) -> None:
        self._failed: defaultdict[str, deque[datetime]] = defaultdict(deque)

    def wait(self, keys: Iterable[str], now: datetime) -> timedelta:
        """Return how long those must wait before they may try again; nothing if they may now."""
        return max((self._left(key, now) for key in keys), default=timedelta())

    def fail(self, keys: Iterable[str], now: datetime) -> None:
        """Note a failure of a name and an address at `now` (aware UTC)."""
        for key in keys:
            moments = self._failed.pop(key, deque[datetime](maxlen=TRIES_MAX))
            moments.append(now)
            self._failed[key] = moments
        while len(self._failed) > KEYS_MAX:
            del self._failed[next(iter(self._failed))]

    def forgive(self, keys: Iterable[str]) -> None:
        """Forget the failures of whoever signed in."""
        for key in keys:
            self._failed.pop(key, None)

    def _left(self, key: str, now: datetime) -> timedelta:
        moments = self._failed.get(key, ())
        young = [at for at in moments if timedelta() <= now - at < WINDOW]
        return young[0] + WINDOW - now if len(young) >= TRIES_MAX else timedelta()
