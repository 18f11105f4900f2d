"""Whose clock runs ahead of the host's, said once when it begins."""

from datetime import datetime

from swapbell_host.intake import Station
from swapbell_host.judging.history import History
from swapbell_models.notice import ahead_words


class Clocks:
    """The stations whose counts are known to be dated ahead."""

    def __init__(self) -> None:
        self._ahead: set[Station] = set()

    def news(self, history: History, now: datetime) -> str | None:
        """Return a line where a station's counts begin to be dated ahead of `now` (aware UTC)."""
        station = history.site, history.station
        if history.ahead_at is None:
            self._ahead.discard(station)
            return None
        if station in self._ahead:
            return None
        self._ahead.add(station)
        return f"{history.site}/{history.station}: {ahead_words(history.ahead_at - now)}"
