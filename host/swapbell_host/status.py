"""How the stations stand, read from the ledger alone: the host need not be running."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from rich.table import Column, Table
from sqlalchemy import Connection

from swapbell_host import refusals, tallybook
from swapbell_host.alerts import OpenNotice
from swapbell_host.config import Config
from swapbell_host.intake import Station
from swapbell_host.ledger import station_holes
from swapbell_host.memory import Memory
from swapbell_host.notebook import EndedNotice
from swapbell_host.rules import REST, verdict
from swapbell_host.standing import standing
from swapbell_host.store import ledger_url, open_existing
from swapbell_models.notice import ahead_words, lapse


@dataclass(frozen=True, slots=True)
class StationStatus:
    """One station.

    Attributes
    ----------
    visits, watched_share
        In the last five minutes that are known; nothing where nobody watched or the station is silent.
    heard_at
        When the host last had a word of it, aware UTC; nothing if never.
    missing, lost
        Tallies that the station may still send, and those that it no longer has.
    rejected
        Messages that could not be read or believed.
    ahead_s
        By how much its counts are dated ahead of this host's clock [s]; nothing if they are not.
    """

    site: str
    station: str
    phase: str
    verdict: str
    reason: str
    visits: int | None
    watched_share: float | None
    heard_at: datetime | None
    missing: int
    lost: int
    rejected: int
    ahead_s: float | None


@dataclass(frozen=True, slots=True)
class Status:
    """All stations of the configuration, the notices, and how many messages came from nobody known.

    Attributes
    ----------
    notices, ended
        Those open; and those of the last half day that ended by themselves.
    """

    stations: tuple[StationStatus, ...]
    notices: tuple[OpenNotice, ...]
    ended: tuple[EndedNotice, ...]
    rejected_of_strangers: int


def read_status(config: Config, now: datetime) -> Status:
    """Return how everything stands at `now` (aware UTC).

    Raises
    ------
    Mistake, Breakdown
        If the ledger cannot be read; see `store.open_existing`.
    """
    with open_existing(ledger_url(config.ledger)) as store:
        memory = Memory(store.transaction, config.phases(), now)
        still_open, ended = memory.notebook.open_notices(), memory.notebook.ended_notices(now - REST)
        with store.transaction() as connection:
            reader = _Reader(config, memory, connection, now)
            stations = tuple(reader.station(station) for station in config.phases())
    return Status(stations, tuple(still_open), tuple(ended), reader.refused.get((None, None), 0))


class _Reader:
    def __init__(self, config: Config, memory: Memory, connection: Connection, now: datetime) -> None:
        self._rules, self._memory, self._connection, self._now = config.rules(), memory, connection, now
        self._heard_at = tallybook.heard_at(connection)
        self.refused = refusals.counts(connection)

    def station(self, station: Station) -> StationStatus:
        history = self._memory.history(*station, self._now)
        shown = standing(history, verdict(history, self._now, self._rules[station]), self._now)
        holes = station_holes(self._connection, *station)
        return StationStatus(
            *station,
            phase=shown.phase.value,
            verdict=shown.verdict,
            reason=shown.reason,
            visits=shown.visits,
            watched_share=None if shown.visits is None else shown.watched_s / self._rules[station].window_s,
            heard_at=self._last_word_at(station),
            missing=sum(hole.last - hole.first + 1 for hole in holes if not hole.lost),
            lost=sum(hole.last - hole.first + 1 for hole in holes if hole.lost),
            rejected=self.refused.get(station, 0),
            ahead_s=(history.ahead_at - self._now).total_seconds() if history.ahead_at else None,
        )

    def _last_word_at(self, station: Station) -> datetime | None:
        words_at = (self._heard_at.get(station), self._memory.healths.heard_at(station))
        return max((at for at in words_at if at), default=None)


def table(status: Status, now: datetime) -> Table:
    """Return the stations as a table for a terminal."""
    words = [Column(head, overflow="fold") for head in ("station", "phase", "says")]
    figures = [Column(head, no_wrap=True) for head in ("visits", "watched", "heard", "missing", "rejected")]
    found = Table(*words, *figures, box=None, padding=(0, 1, 0, 0))
    found.caption = "visits and watched share of the last window; heard: age of the last word"
    for each in status.stations:
        found.add_row(*_cells(each, now))
    return found


def _cells(each: StationStatus, now: datetime) -> list[str]:
    return [
        f"{each.site}/{each.station}",
        each.phase,
        f"{each.verdict}: {each.reason}" if each.reason else each.verdict,
        "-" if each.visits is None else str(each.visits),
        "-" if each.watched_share is None else f"{100.0 * each.watched_share:.0f} %",
        "never" if each.heard_at is None else f"{lapse(now - each.heard_at)} ago",
        f"{each.missing}, {each.lost} lost" if each.lost else str(each.missing),
        str(each.rejected),
    ]


def lines(status: Status) -> Iterator[str]:
    """Yield what stands below the table: the notices, and what came from nobody known."""
    for each in status.stations:
        if each.ahead_s is not None:
            yield f"{each.site}/{each.station}: {ahead_words(timedelta(seconds=each.ahead_s))}"
    for entry in status.notices:
        yield f"notice {entry.id}, told {entry.times_told} times: {entry.notice.text}"
    for past in status.ended:
        yield f"notice {past.id} ended by itself {past.ended_at:%Y-%m-%d %H:%M} UTC: {past.notice.text}"
    if status.rejected_of_strangers:
        yield f"{status.rejected_of_strangers} rejected messages came from nobody whom the configuration names"
